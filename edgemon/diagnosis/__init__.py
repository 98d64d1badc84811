"""Records and machine facts to findings with evidence; pure.

`diagnose(record, facts)` is the entrance, `diagnose_machine` that for all points of a machine;
`registry.PATTERNS` lists what is looked for.
"""

from edgemon.diagnosis.diagnose import diagnose, diagnose_machine
from edgemon.diagnosis.record import Channel, Gear, MachineFacts, Record

__all__ = ["Channel", "Gear", "MachineFacts", "Record", "diagnose", "diagnose_machine"]

"""`edgemon diagnose`: levels and findings of recordings, offline; one JSON object a line and file, or text."""

import argparse
import json
import math
import sys
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgemon.cli import stages
from edgemon.cli.npz_files import checked_bearing
from edgemon.cli.recorded_levels import levels, peaks, short
from edgemon.cli.recordings import Given, known_unit, read_recording, readable
from edgemon.cli.waveform_files import RecordingError
from edgemon.diagnosis.diagnose import diagnose, diagnose_machine
from edgemon.diagnosis.record import MachineFacts, Record
from edgemon.errors import SettingsError
from edgemon.model.finding import CAUTION, Diagnosis, Evidence, Finding
from edgemon.model.machine import Bearing
from edgemon.model.observation import observed

if TYPE_CHECKING:
    Subparsers = argparse._SubParsersAction[argparse.ArgumentParser]

FINE, FAILED = 0, 1


def add(subparsers: "Subparsers") -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "diagnose",
        help="levels and findings of recordings",
        description=f"Read recordings ({', '.join(readable())}), compute levels and look for faults. {CAUTION}",
        epilog="Exit code: 0 all files done, 1 a file failed (the others are done), 2 bad usage.",
    )
    parser.add_argument("file", metavar="FILE", type=Path, nargs="+", help="recording")
    parser.add_argument("--json", action="store_true", help="print one JSON object a line and file")
    add_facts(parser)
    said = "the machine as it was, once for each usual load: what gears, mounting of the sensor and 1x are compared with"
    parser.add_argument("--baseline", metavar="FILE", type=Path, action="append", default=[], help=said)
    said = "the files are points of one machine, taken at about the same time: one answer, of which all are compared"
    parser.add_argument("--machine", action="store_true", help=said)
    parser.add_argument("--unit", "--samples-unit", metavar="UNIT", help="unit of the samples: m/s2, g, mm/s ...")
    parser.set_defaults(run=run)


def add_facts(parser: argparse._ActionsContainer) -> None:
    """Let the user say what a file and its machine are; `given_of` reads it."""
    parser.add_argument("--speed", metavar="RPM", type=float, help="shaft speed, r/min; refined from the record")
    parser.add_argument(
        "--bearing",
        metavar="N,BALL,PITCH[,ANGLE]",
        action="append",
        default=[],
        help="rolling elements, ball and pitch diameter in mm, contact angle in degrees; may be repeated",
    )
    said = "teeth: driving, driven; stages in a row from the shaft of --speed, planetary ones among them"
    parser.add_argument("--gear", metavar="Z1/Z2", dest="stages", action="append", default=[], type=_pair, help=said)
    said = "teeth and number of planets, the member that stands (ring) and the one that drives (sun)"
    parser.add_argument(
        "--planetary", metavar="SUN/PLANET/RING/N[,FIXED[,INPUT]]", dest="stages", action="append", type=_set, help=said
    )
    parser.add_argument("--blades", metavar="N", type=int, help="blades or vanes")
    parser.add_argument("--belt-hz", metavar="HZ", type=float, help="how often a place on the belt comes round")
    parser.add_argument("--supply-hz", metavar="HZ", type=float, help="supply frequency of the motor")
    parser.add_argument("--poles", metavar="N", type=int, help="poles of the motor")
    parser.add_argument("--rotor-bars", metavar="N", type=int, help="bars of the motor's cage")
    parser.add_argument("--plain-bearings", action="store_true", help="the bearings are plain: oil whirl is looked for")
    parser.add_argument("--fs", metavar="HZ", type=float, help="sample rate, where the file does not say it or is wrong")
    parser.add_argument("--channel", metavar="NAME", action="append", help="only this channel: name or number")
    parser.add_argument(
        "--direction", metavar="NAME=WORD", action="append", default=[], help="horizontal, vertical or axial for a channel"
    )
    said = "where a channel, or a file of that name without its ending, sits: driver or driven, drive or non-drive end"
    parser.add_argument("--place", metavar="NAME=PART:END", action="append", default=[], help=said)


def run(args: argparse.Namespace) -> int:
    """Look at all files and give the exit code. Raises `SettingsError` for options that cannot be used."""
    given = given_of(args)
    try:
        before = [read_recording(path, given) for path in args.baseline]
    except RecordingError as error:
        raise SettingsError(error.what, f"--baseline: {error.where}", error.hint) from error
    if args.machine and len(args.file) > 1:
        return _machine(args, given, before)
    code = FINE
    for path in args.file:
        try:
            record, facts = read_recording(path, given)
            document = report(path, record, diagnose(record, facts, before), facts)
        except RecordingError as error:
            print(f"edgemon: {error}", file=sys.stderr)
            code = FAILED
            continue
        print(json.dumps(document, ensure_ascii=False, allow_nan=False) if args.json else text(document), flush=True)
    return code


def _machine(args: argparse.Namespace, given: Given, before: list[tuple[Record, MachineFacts]]) -> int:
    """Look at all files as points of one machine; without one of them there is no answer."""
    try:
        read = [read_recording(path, given) for path in args.file]
    except RecordingError as error:
        print(f"edgemon: {error}", file=sys.stderr)
        return FAILED
    stems = [path.stem for path in args.file]
    names = stems if len(set(stems)) == len(stems) else [f"{stem} ({i + 1})" for i, stem in enumerate(stems)]
    points = [(named(record, name), facts) for (record, facts), name in zip(read, names, strict=True)]
    found = diagnose_machine(points, before)
    documents = [report(path, record, found, facts) for path, (record, facts) in zip(args.file, points, strict=True)]
    document = documents[0] | {
        "files": [one["file"] for one in documents],
        "levels": {name: row for one in documents for name, row in one["levels"].items()},
        "left_out": {name: row for one in documents for name, row in one["left_out"].items()},
        "peaks": {name: row for one in documents for name, row in one["peaks"].items()},
    }
    print(json.dumps(document, ensure_ascii=False, allow_nan=False) if args.json else text(document), flush=True)
    return FINE


def named(record: Record, name: str) -> Record:
    """Put a file's name before the names of its channels."""
    return replace(record, channels=tuple(replace(one, name=f"{name} {one.name}") for one in record.channels))


def given_of(args: argparse.Namespace) -> Given:
    """Read what the user says about the files. Raises `SettingsError` naming the option."""
    for name in ("speed", "fs", "belt_hz", "supply_hz", "blades", "poles", "rotor_bars"):
        value = getattr(args, name)
        if value is not None and not (math.isfinite(value) and value > 0):
            raise SettingsError(f"{value:g}", f"--{name.replace('_', '-')}", "above zero")
    try:
        unit = None if args.unit is None else known_unit(args.unit)
    except ValueError as error:
        raise SettingsError(f"unknown unit {error}", "--unit") from error
    gears, planetary = stages.in_a_row(args.stages)
    return Given(
        args.fs,
        unit,
        None if args.channel is None else tuple(args.channel),
        dict(_direction(word) for word in args.direction),
        dict(_place(word) for word in args.place),
        MachineFacts(
            None if args.speed is None else args.speed / 60.0,
            tuple((f"bearing {i + 1}" if i else "bearing", _bearing(word)) for i, word in enumerate(args.bearing)),
            gears,
            args.blades,
            args.belt_hz,
            args.supply_hz,
            args.poles,
            args.plain_bearings,
            rotor_bars=args.rotor_bars,
            planetary=planetary,
        ),
    )


def _direction(word: str) -> tuple[str, str]:
    name, _, direction = word.partition("=")
    if direction not in ("horizontal", "vertical", "axial"):
        raise SettingsError(f"{word!r}", "--direction", "NAME=horizontal, NAME=vertical or NAME=axial")
    return name, direction


def _place(word: str) -> tuple[str, tuple[str, str]]:
    name, _, place = word.partition("=")
    part, _, end = place.partition(":")
    if part not in ("driver", "driven") or end not in ("drive", "non-drive", ""):
        raise SettingsError(f"{word!r}", "--place", "NAME=driver:drive, NAME=driven:non-drive or NAME=driver")
    return name, (part, end)


def _bearing(word: str) -> Bearing:
    try:
        numbers = [float(part) for part in word.split(",")]
        if len(numbers) not in (3, 4):
            raise ValueError(word)
        n, ball, pitch, angle = (*numbers, 0.0)[:4]
        return checked_bearing(n, ball, pitch, angle, "--bearing")
    except ValueError as error:
        raise SettingsError(f"{word!r}", "--bearing", "N,BALL,PITCH[,ANGLE], for instance 9,7.94,39.04,0") from error
    except RecordingError as error:
        raise SettingsError(error.what, error.where, error.hint) from error


def _pair(word: str) -> tuple[str, str]:
    return "--gear", word


def _set(word: str) -> tuple[str, str]:
    return "--planetary", word


def report(path: Path, record: Record, diagnosis: Diagnosis, facts: MachineFacts) -> dict[str, Any]:
    """Make the document of one file."""
    measured, left_out = levels(record, diagnosis.speed_hz)
    return {
        "file": str(path),
        "fs_hz": record.fs_hz,
        "speed_rpm": None if diagnosis.speed_hz is None else round(60.0 * diagnosis.speed_hz, 2),
        "speed_basis": diagnosis.speed_basis,
        "speed_origin": diagnosis.speed_origin.value,
        "speed_confidence": None if diagnosis.speed_confidence is None else round(diagnosis.speed_confidence, 4),
        "quantity": record.quantity.value,
        "levels": measured,
        "left_out": left_out,
        "peaks": peaks(record, diagnosis.speed_hz),
        "verdict": diagnosis.verdict.value,
        "findings": [finding(one) for one in diagnosis.findings],
        "remarks": list(diagnosis.remarks),
        "not_told": not_told(facts),
        "caution": CAUTION,
    }


def not_told(facts: MachineFacts) -> list[str]:
    """List the parts of a machine that nobody told of, whose faults were therefore not looked for."""
    parts = {
        "gears": facts.is_geared,
        "blades": facts.blades is not None,
        "belt": facts.belt_hz is not None,
        "supply frequency of a motor": facts.supply_hz is not None,
        "plain bearings": facts.sleeve_bearings,
    }
    return [name for name, is_known in parts.items() if not is_known]


def finding(one: Finding) -> dict[str, Any]:
    """Make the document of one finding."""
    return {
        "fault": one.fault.value,
        "detail": one.detail,
        "confidence": round(one.confidence, 3),
        "channel": one.channel,
        "evidence": [evidence(part) for part in one.evidence],
        "rule": one.rule,
        "source": one.source,
        "alternatives": [fault.value for fault in one.alternatives],
        "actions": list(one.actions),
        "caution": one.caution,
    }


def evidence(part: Evidence) -> dict[str, Any]:
    """Make the document of one observation, without what does not apply; `text` is whole, the fields are for programs."""
    full: dict[str, Any] = {
        "text": observed(part),
        "frequency_hz": short(part.frequency_hz),
        "order": short(part.order),
        "amplitude": short(part.amplitude),
        "unit": part.unit,
        "above_surroundings": short(part.above_surroundings),
        "harmonics": list(part.harmonics),
        "sidebands": list(part.sidebands),
        "direction": part.direction,
    }
    return {key: value for key, value in full.items() if value not in (None, "", [])}


def text(document: dict[str, Any]) -> str:
    """Write the document of one file for people."""
    lines = [f"{', '.join(document.get('files', [document['file']]))}: {document['verdict'].replace('-', ' ')}"]
    lines.append(f"  speed    {_speed(document)}")
    for channel, row in document["levels"].items():
        lines += [f"  levels   {channel}, {shown}" for shown in _by_band(row)]
        lines += [f"  left out {channel}, {shown}" for shown in _by_reason(document["left_out"][channel])]
    for channel, tops in document["peaks"].items():
        shown = ", ".join(f"{_where(top)} {top['rms']:.3g}" for top in tops)
        unit = f", {document['quantity']} r.m.s., {tops[0]['unit']}" if tops else ""
        lines.append(f"  lines    {channel}{unit}: {shown or 'none stands out'}")
    for one in document["findings"]:
        lines += _told(one)
    lines += [f"  remark   {remark}" for remark in document["remarks"]]
    if document["not_told"]:
        lines.append(f"  not told {', '.join(document['not_told'])}: what only these show was not looked for")
    lines.append(f"  {document['caution']}")
    return "\n".join(lines)


def _speed(document: dict[str, Any]) -> str:
    if document["speed_rpm"] is None:
        return "not known"
    sure = document["speed_confidence"]
    return f"{document['speed_rpm']:g} r/min, {document['speed_basis']}" + ("" if sure is None else f", confidence {sure:.2f}")


def _told(one: dict[str, Any]) -> list[str]:
    """Write one finding: what, how sure, on what evidence, by which rule of which source, and what to do."""
    detail = f" ({one['detail']})" if one["detail"] else ""
    lines = [f"finding  {one['fault']}{detail}, confidence {one['confidence']:.2f}, channel {one['channel']}"]
    lines += [f"         - {part['text']}" for part in one["evidence"]]
    lines += [f"         rule: {one['rule']}", f"         source: {one['source']}"]
    if one["alternatives"]:
        lines.append(f"         could also be: {', '.join(one['alternatives'])}")
    lines.append(f"         first: {'; '.join(one['actions'])}")
    return [f"  {line}" for line in lines]


def _by_reason(left_out: dict[str, str]) -> list[str]:
    """Write the levels that are not there, those of one reason in one line."""
    reasons = dict.fromkeys(left_out.values())
    return [f"{', '.join(name for name, why in left_out.items() if why == reason)}: {reason}" for reason in reasons]


def _by_band(row: dict[str, dict[str, Any]]) -> list[str]:
    """Write the levels of a channel, those of one band in one line; what a remark says is said once for each band."""
    found: list[str] = []
    for (low, high), group in groupby(row.items(), key=lambda item: item[1]["band_hz"]):
        members = list(group)
        shown = ", ".join(f"{name} {one['value']:.4g}{_unit(one['unit'])}" for name, one in members)
        remarks = list(dict.fromkeys(one["remark"] for _, one in members if "remark" in one))
        found.append(f"{low:.4g}-{high:.5g} Hz: {shown}" + (f" ({'; '.join(remarks)})" if remarks else ""))
    return found


def _where(top: dict[str, float | str]) -> str:
    return f"{top['frequency_hz']:g} Hz" + (f" ({top['order']:.2f}x)" if "order" in top else "")


def _unit(unit: str) -> str:
    return "" if unit == "1" else f" {unit}"

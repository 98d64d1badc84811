"""The one error of the simulators: a person gave something that cannot be used, or the far end is not there."""


class SimulatorError(Exception):
    """What is wrong, where, and what would be right; `exit_code` is what the command ends with.

    Parameters
    ----------
    what : str
        One sentence.
    where : str
        File and field, address or record; empty if it has no place.
    exit_code : int
        2 for usage or files, 1 for what fails at run time.
    """

    def __init__(self, what: str, where: str = "", exit_code: int = 2) -> None:
        super().__init__(f"{where}: {what}" if where else what)
        self.exit_code = exit_code

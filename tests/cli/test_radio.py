"""`edgemon radio`: computed and measured links, and errors that name the option."""

import json

import pytest

from edgemon.cli.main import main

LINK = ("--frequency", "868MHz", "--distance", "60", "--power", "14", "--gain", "2", "2")
RECEIVER = ("--sensitivity", "-110")


def test_a_computed_link(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: 31.218 + 22 log10 60 = 70.338; 14 + 4 - 70.338 + 110 = 57.66; 7 dB at 90 % takes 8.97."""
    assert main(["radio", *LINK, *RECEIVER]) == 0
    out = capsys.readouterr().out
    assert "path loss 70.3 dB (log-distance, exponent 2.2); in free space 66.8 dB" in out
    assert "margin 57.7 dB" in out
    assert "shadowing takes 9.0 dB or less at 90 % of places: 48.7 dB left" in out
    assert out.splitlines()[-1] == "enough: 48.7 dB left, 10 dB are asked for (common practice, no source)"


def test_a_link_that_fails_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: 4 - 98.875 + 95 = 0.13; 6.8 dB at 95 % takes 11.19."""
    link = ("--frequency", "2440MHz", "--distance", "60", "--power", "4", "--exponent", "3.3", "--sensitivity", "-95")
    assert main(["radio", *link, "--sigma", "6.8", "--coverage", "95"]) == 0
    out = capsys.readouterr().out
    assert "margin 0.1 dB" in out
    assert out.splitlines()[-1].startswith("NOT ENOUGH: -11.1 dB left, 10 dB")


def test_p_1238_and_a_sensitivity_from_its_parts(capsys: pytest.CaptureFixture[str]) -> None:
    parts = ("--bandwidth", "125kHz", "--noise-figure", "6", "--snr", "-20")
    link = ("--frequency", "1300MHz", "--distance", "30", "--power", "14", "--power-loss", "22")
    assert main(["radio", *link, *parts, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["loss_db"], told["sensitivity_dbm"]) == (pytest.approx(66.776, abs=1e-3), pytest.approx(-137.03, abs=5e-3))
    assert main(["radio", *link, *parts, "--floors", "9", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["loss_db"] == pytest.approx(75.776, abs=1e-3)


@pytest.mark.parametrize(("extra", "needed", "is_enough"), [((), 10.0, True), (("--single-antenna",), 20.0, False)])
def test_a_measured_link_has_its_shadowing_in_it(
    extra: tuple[str, ...], needed: float, is_enough: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["radio", "--rssi", "-95", *RECEIVER, *extra, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["margin_db"], told["left_db"], told["shadowing_db"], told["loss_db"]) == (15.0, 15.0, 0.0, None)
    assert (told["needed_db"], told["is_enough"]) == (needed, is_enough)
    assert main(["radio", "--rssi", "-95", *RECEIVER, *extra]) == 0
    out = capsys.readouterr().out
    assert "signal -95.0 dBm measured" in out
    assert "worst of 24 h" in out


@pytest.mark.parametrize(
    ("given", "option", "why"),
    [
        (RECEIVER, "--frequency", "must be given"),
        (("--rssi", "-95"), "--sensitivity", "must be given"),
        (("--rssi", "-95", "--bandwidth", "125kHz", "--snr", "3"), "--noise-figure", "must be given"),
        (("--rssi", "-95", *RECEIVER, "--snr", "3"), "--snr", "no effect beside --sensitivity"),
        (("--rssi", "-95", *RECEIVER, "--distance", "60"), "--distance", "no effect beside --rssi"),
        (("--rssi", "-95", *RECEIVER, "--coverage", "95"), "--coverage", "no effect beside --rssi"),
        (("--rssi", "nan", *RECEIVER), "--rssi", "not possible"),
        (("--rssi", "-95", "--sensitivity", "inf"), "--sensitivity", "not possible"),
        (("--rssi", "-95", "--bandwidth", "0kHz", "--noise-figure", "6", "--snr", "3"), "--bandwidth", "not possible"),
        ((*LINK, *RECEIVER, "--frequency", "868"), "--frequency", "write 868MHz"),
        ((*LINK, *RECEIVER, "--frequency", "868Hz"), "--frequency", "not possible"),
        ((*LINK, *RECEIVER, "--distance", "0.5"), "--distance", "not possible"),
        ((*LINK, *RECEIVER, "--distance", "1e6", "--exponent", "8"), "--distance", "not possible"),
        ((*LINK, *RECEIVER, "--power", "1e9"), "--power", "not possible"),
        ((*LINK, *RECEIVER, "--gain", "nan"), "--gain", "not possible"),
        ((*LINK, *RECEIVER, "--exponent", "0"), "--exponent", "not possible"),
        ((*LINK, *RECEIVER, "--power-loss", "2.2"), "--power-loss", "not possible"),
        ((*LINK, *RECEIVER, "--power-loss", "22", "--exponent", "2"), "--exponent", "not allowed with"),
        ((*LINK, *RECEIVER, "--floors", "9"), "--floors", "no effect without --power-loss"),
        ((*LINK, *RECEIVER, "--power-loss", "22", "--floors", "-9"), "--floors", "not possible"),
        ((*LINK, *RECEIVER, "--sigma", "-1"), "--sigma", "not possible"),
        ((*LINK, *RECEIVER, "--coverage", "100"), "--coverage", "as a share: 0.5 is 50 %"),
    ],
)
def test_what_is_missing_or_impossible_is_told_by_its_option(
    given: tuple[str, ...], option: str, why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["radio", *given]) == 2
    told = capsys.readouterr().err.splitlines()[-1]
    assert option in told
    assert why in told


def test_a_link_that_is_gone_is_gone_all_of_the_time(capsys: pytest.CaptureFixture[str]) -> None:
    """A margin of -30 dB leaves 1 - exp(-1000): every time (Rayleigh, closed form), and no power of ten."""
    assert main(["radio", "--rssi", "-125", "--sensitivity", "-95"]) == 0
    assert "takes more than that 100 % of the time" in capsys.readouterr().out

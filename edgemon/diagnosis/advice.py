"""What goes with each fault: the rule, where it comes from, what else it could be, what to check first."""

from dataclasses import dataclass

from edgemon.model.finding import Fault

TEXTBOOKS = (
    "C. Scheffer, P. Girdhar, Practical Machinery Vibration Analysis and Predictive Maintenance (2004); "
    "R. B. Randall, Vibration-based Condition Monitoring (2011); from memory, unverified"
)
MOTORS = "W. R. Finley, M. M. Hodowanec, W. G. Holter, IEEE Trans. Ind. Appl. 36 (2000) 1447-1459; from memory, unverified"
BEARINGS = (
    "R. B. Randall, J. Antoni, Mech. Syst. Signal Process. 25 (2011) 485-520; W. A. Smith, R. B. Randall, "
    "Mech. Syst. Signal Process. 64-65 (2015) 100-131; from memory, unverified"
)
PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Advice:
    """Fixed words for one fault."""

    rule: str
    source: str
    alternatives: tuple[Fault, ...]
    actions: tuple[str, ...]


_BEARING_ACTIONS = (
    "check lubrication and repeat the measurement",
    "compare with earlier records of this point at like speed and load",
    "plan the replacement and look for its cause: load, alignment, contamination, electric current",
)


def _bearing(rule: str, *alternatives: Fault) -> Advice:
    return Advice(rule, BEARINGS, alternatives, _BEARING_ACTIONS)


ADVICE: dict[Fault, Advice] = {
    Fault.UNBALANCE: Advice(
        "1x makes 0.8 or more of the radial velocity, steady, directions about 90 degrees apart and within three to one; "
        "2x and axial low",
        TEXTBOOKS,
        (Fault.RESONANCE, Fault.BENT_SHAFT, Fault.LOOSENESS),
        (
            "clean the rotor; look for deposits, erosion, lost weights",
            "verify that it is no resonance",
            "balance to ISO 21940-11",
        ),
    ),
    Fault.BENT_SHAFT: Advice(
        "axial 1x above half of radial 1x, with little 2x",
        TEXTBOOKS,
        (Fault.MISALIGNMENT, Fault.UNBALANCE),
        ("measure run-out at slow roll", "check for rub and thermal history", "straighten or replace"),
    ),
    Fault.MISALIGNMENT: Advice(
        "2x above half of 1x, or axial 1x and 2x above half of radial",
        TEXTBOOKS,
        (Fault.BENT_SHAFT, Fault.LOOSENESS, Fault.ELECTRICAL),
        ("check alignment cold and hot", "check pipe strain, soft foot and coupling wear"),
    ),
    Fault.LOOSENESS: Advice(
        "six or more harmonics of 1x above a tenth of the largest, or half orders that stand out",
        TEXTBOOKS,
        (Fault.RUB, Fault.MISALIGNMENT, Fault.INNER_RACE),
        ("check bolts, grout and feet", "check fits and bearing clearance", "look for a cracked frame"),
    ),
    Fault.RESONANCE: Advice(
        "1x in one radial direction more than three times the other",
        TEXTBOOKS,
        (Fault.LOOSENESS, Fault.UNBALANCE, Fault.BELT),
        ("run-up, coast-down or impact test", "change speed, stiffness, mass or damping"),
    ),
    Fault.OUTER_RACE: _bearing("BPFO and harmonics in the envelope spectrum, no sidebands at shaft speed", Fault.LOOSENESS),
    Fault.INNER_RACE: _bearing("BPFI and harmonics in the envelope spectrum, with sidebands at shaft speed", Fault.OUTER_RACE),
    Fault.ROLLING_ELEMENT: _bearing(
        "2 BSF and harmonics with sidebands at cage speed, or strong modulation at cage speed", Fault.CAGE, Fault.OUTER_RACE
    ),
    Fault.CAGE: _bearing(
        "FTF and four or more harmonics in the envelope spectrum: a blow each turn of the cage", Fault.ROLLING_ELEMENT
    ),
    Fault.LUBRICATION: Advice(
        "most of the acceleration is high-frequency noise without rhythm while the velocity is low",
        PRACTICE,
        (Fault.CAVITATION, Fault.OUTER_RACE),
        ("check lubricant quantity and kind", "relubricate by the maker's instructions and measure again"),
    ),
    Fault.GEAR: Advice(
        "a blow at one tooth in the average turn of a gear's shaft (FM4), or sidebands about the mesh that are no longer "
        "those of the baseline at like load",
        f"{TEXTBOOKS}; R. M. Stewart, ISVR Southampton (1977); J. J. Zakrajsek et al., NASA TM-105950 (1993), from memory",
        (Fault.MISALIGNMENT, Fault.LOOSENESS),
        ("compare with a baseline at like load", "look at oil debris", "inspect teeth, contact pattern and backlash"),
    ),
    Fault.BLADE_PASS: Advice(
        "number of blades times shaft speed is the largest line of the velocity spectrum",
        TEXTBOOKS,
        (Fault.RESONANCE, Fault.CAVITATION),
        ("check operating point", "check gap and impeller eccentricity", "test for resonance"),
    ),
    Fault.CAVITATION: Advice(
        "most of the acceleration is broadband noise, with blade pass above its surroundings",
        TEXTBOOKS,
        (Fault.LUBRICATION, Fault.BLADE_PASS),
        ("check suction pressure, strainer and valve", "move the operating point and listen"),
    ),
    Fault.BELT: Advice(
        "belt frequency and its harmonics stand out",
        TEXTBOOKS,
        (Fault.LOOSENESS, Fault.MISALIGNMENT),
        ("check tension and wear", "replace belts as a set", "align sheaves"),
    ),
    Fault.ELECTRICAL: Advice(
        "twice supply frequency stands out apart from 2x, 1x has sidebands at pole-pass frequency, "
        "or rotor-bar pass has strong ones at twice supply frequency",
        MOTORS,
        (Fault.MISALIGNMENT, Fault.LOOSENESS),
        ("cut the power and watch the line vanish", "check feet and air gap", "current signature test at 70 % load or more"),
    ),
    Fault.OIL_WHIRL: Advice(
        "a line at 0.40 to 0.49 of shaft speed at a plain bearing",
        TEXTBOOKS,
        (Fault.RUB, Fault.LOOSENESS),
        ("check oil temperature and viscosity", "check bearing load, clearance and alignment"),
    ),
    Fault.RUB: Advice(
        "whole fractions of shaft speed (1/3, 1/2, 2/3) stand out together with harmonics",
        TEXTBOOKS,
        (Fault.LOOSENESS, Fault.OIL_WHIRL),
        ("check clearances, seals and thermal bow", "reduce speed with care"),
    ),
    Fault.SENSOR: Advice(
        "the waveform cannot be vibration: clipped, flat, or a slope without lines",
        PRACTICE,
        (),
        ("check mounting, cable, range and supply of the sensor", "measure again"),
    ),
}

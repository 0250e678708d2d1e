"""What is invented: a maker, its vehicles, a group of stores, six campaigns.

Nothing here is taken from life: maker, lines, engines, plants, towns, part numbers
and campaigns do not exist. Towns carry postal codes that are not given out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from campaigns.rules.lifecycle import CampaignClass, Payer, ReadingResult
from campaigns.rules.room import Skill
from dealership.rules.roles import Role


if TYPE_CHECKING:
    import datetime as dt


MAKER = "Vexholm Motor Works"
MAKER_CODE = "1U0"
PASSWORD = "workshop-ledger-24"  # noqa: S105 (the demo's own, shown to everybody)


@dataclass(frozen=True)
class Line:
    """A model line: VIN attributes (positions 4-8), engines, plants with VIN code."""

    name: str
    attributes: str
    engines: tuple[str, ...]
    plants: tuple[tuple[str, str], ...]
    weight: int


LINES = (
    Line("Corvane", "KTRA4", ("T15", "V27"), (("Ostby", "B"), ("Kelda", "K")), 5),
    Line("Tolmar", "MVXB6", ("V27", "T20"), (("Kelda", "K"),), 4),
    Line("Ketch", "PHLC8", ("V27",), (("Ostby", "B"),), 2),
    Line("Lumen", "EWSD2", ("E60",), (("Sandrik", "S"),), 1),
)


@dataclass(frozen=True)
class Shop:
    """A store of the group."""

    code: str
    name: str
    street: str
    city: str
    region: str
    postal_code: str
    phone: str
    signed_by: str
    share: int


SHOPS = (
    Shop(
        "EMR",
        "Lindqvist Motors Eastmere",
        "1400 Granary Road",
        "Eastmere",
        "OH",
        "00143",
        "555-0110",
        "Dana Whitlow",
        50,
    ),
    Shop(
        "LHB",
        "Lindqvist Motors Low Harbor",
        "22 Ropewalk",
        "Low Harbor",
        "OH",
        "00172",
        "555-0120",
        "Imre Castellan",
        30,
    ),
    Shop(
        "PNC",
        "Lindqvist Motors Pine Crossing",
        "805 Tannery Lane",
        "Pine Crossing",
        "OH",
        "00188",
        "555-0130",
        "Noor Abernethy",
        20,
    ),
)

# sign-in name, first and last name, role; the owner and the administrator see all
PEOPLE: tuple[tuple[str, str, str, Role], ...] = (
    ("parts", "Petra", "Halloran", Role.PARTS_MANAGER),
    ("service", "Samuel", "Okonjo", Role.SERVICE_MANAGER),
    ("advisor", "Anneke", "Duval", Role.SERVICE_ADVISOR),
    ("technician", "Tomas", "Brandvold", Role.TECHNICIAN),
    ("office", "Odile", "Ferreira", Role.OFFICE),
    ("owner", "Ottilie", "Lindqvist", Role.OWNER),
    ("admin", "Adair", "Novak", Role.ADMINISTRATOR),
)
IN_ALL_STORES = frozenset({Role.OWNER, Role.ADMINISTRATOR})


@dataclass(frozen=True)
class PartOf:
    """A part: price in cents, pack and minimum in pieces, lead time in days."""

    number: str
    name: str
    cents: int
    pack: int = 1
    minimum: int = 1
    lead_days: int = 9


PARTS = (
    PartOf("VX-41720-A", "Seat rail bolt set", 1_825, pack=5, lead_days=6),
    PartOf("VX-30866", "Coolant pump seal", 6_410, pack=2, lead_days=9),
    PartOf("VX-30867", "Coolant pump housing", 21_480, lead_days=12),
    PartOf("VX-77105", "Rear camera harness", 4_390, lead_days=8),
    PartOf("VX-52031", "Vapour line clip", 735, pack=10, minimum=10, lead_days=7),
    PartOf("VX-88240", "Charge port latch", 9_960, lead_days=14),
    PartOf("VX-60412", "Door check strap", 3_275, pack=2, lead_days=10),
    PartOf("VX-30900", "Coolant hose clamp", 290, pack=10, minimum=10, lead_days=5),
)


@dataclass(frozen=True)
class Measure:
    """A measured check of a variant; ``after`` counts the step before it from 1."""

    title: str
    how: str
    unit: str
    low: str | None
    high: str | None
    outside: ReadingResult
    replace: str | None = None
    after: int | None = None


@dataclass(frozen=True)
class Form:
    """A variant of a remedy: (part, pieces, share in basis points, payer)."""

    code: str
    title: str
    hours: int
    operations: tuple[str, ...]
    parts: tuple[tuple[str, int, int, Payer], ...]
    conditions: tuple[dict[str, str], ...] = ()
    checks: tuple[Measure, ...] = ()
    # hundredths of an hour of single operations, and (what is done, caution before it)
    times: tuple[tuple[str, int], ...] = ()
    steps: tuple[tuple[str, str], ...] = ()
    skill: Skill = Skill.MECHANICAL


@dataclass(frozen=True)
class Rule:
    """One criterion; build days are counted from today."""

    lines: tuple[str, ...] = ()
    engines: tuple[str, ...] = ()
    plants: tuple[str, ...] = ()
    model_years: tuple[int, ...] = ()
    built_days_ago: tuple[int, int] | None = None
    include: bool = True


@dataclass(frozen=True)
class Plot:
    """A campaign and how far it has come. Days are counted back from today."""

    code: str
    maker_number: str
    title: str
    campaign_class: CampaignClass
    bulletin: str
    risk: str
    rules: tuple[Rule, ...]
    forms: tuple[Form, ...]
    announced: int
    letters: int | None
    first_batch: dict[str, float]
    tools: str = ""
    cautions: str = ""
    regulator_number: str = ""
    claims_in: int | None = None
    returns_in: int | None = None
    stop_sale: bool = False
    odometer_limit: int | None = None
    eligible_in: int | None = None
    ultimate: float = 0.72
    reminder: int | None = None
    closed: bool = False
    short: int = 0
    damaged: int = 0
    special_tools: tuple[tuple[str, str], ...] = ()
    loan_car_cents_a_day: int | None = None


_M = Payer.MANUFACTURER


def plots(today: dt.date) -> tuple[Plot, ...]:
    """Give the six campaigns; model years follow the day on which the demo is made."""
    year = today.year
    return (
        Plot(
            code="SR-26-04",
            maker_number="VX-C418",
            regulator_number="26V-9904",
            title="Seat rail bolts may loosen",
            campaign_class=CampaignClass.SAFETY,
            bulletin=(
                "On vehicles of the lines and build days named, the bolts of the front "
                "seat rails were tightened with a tool out of adjustment. Replace the "
                "bolt set and tighten to the torque in the repair manual."
            ),
            risk=(
                "The front seat can move in a crash. That raises the risk of injury "
                "to the person on it."
            ),
            rules=(
                Rule(
                    lines=("Corvane",),
                    engines=("T15",),
                    built_days_ago=(1_300, 900),
                ),
            ),
            forms=(
                Form(
                    code="A",
                    title="Replace the bolt set of both front seats",
                    hours=70,
                    operations=("seat-out", "rail-bolts", "seat-in"),
                    parts=(("VX-41720-A", 1, 10_000, _M),),
                    checks=(
                        Measure(
                            "Torque of the outer rear bolt",
                            "Click wrench, seat fully forward.",
                            "Nm",
                            "43",
                            "49",
                            ReadingResult.REPEAT,
                        ),
                    ),
                ),
            ),
            announced=6,
            letters=None,
            first_batch={"VX-41720-A": 0.12},
            claims_in=540,
            returns_in=300,
            tools="Click wrench 20-100 Nm, checked within 12 months.",
            cautions=(
                "Side airbag wiring runs under the seat. Switch the ignition off and "
                "wait as the repair manual says before you unplug it."
            ),
            ultimate=0.78,
        ),
        Plot(
            code="SR-26-03",
            maker_number="VX-C402",
            regulator_number="26V-9871",
            title="Rear camera harness chafes",
            campaign_class=CampaignClass.SAFETY,
            bulletin=(
                "The harness of the rear camera may chafe on the tailgate hinge and "
                "the picture may fail. Replace the harness and add the sleeve. New "
                "vehicles are not to be handed over before the remedy."
            ),
            risk=(
                "The picture of the rear camera can fail while the vehicle backs up. "
                "That raises the risk of hitting somebody behind it."
            ),
            rules=(
                Rule(lines=("Tolmar",), model_years=(year - 1, year, year + 1)),
                Rule(lines=("Tolmar",), engines=("T20",), include=False),
            ),
            forms=(
                Form(
                    code="A",
                    title="Replace the harness",
                    hours=110,
                    skill=Skill.ELECTRICAL,
                    operations=("tailgate-trim", "harness", "camera-aim"),
                    parts=(("VX-77105", 1, 10_000, _M),),
                    checks=(
                        Measure(
                            "Gap between harness and hinge",
                            "Feeler gauge, tailgate half open.",
                            "mm",
                            "6.0",
                            None,
                            ReadingResult.REPEAT,
                        ),
                    ),
                ),
            ),
            announced=48,
            letters=34,
            first_batch={"VX-77105": 0.45},
            claims_in=500,
            returns_in=140,
            stop_sale=True,
            short=2,
            damaged=1,
            ultimate=0.80,
            tools="Plastic trim wedges.",
            cautions="Hold the tailgate open with the prop; gas struts may give way.",
        ),
        Plot(
            code="SR-26-01",
            maker_number="VX-C377",
            regulator_number="26V-9533",
            title="Coolant pump seal may leak",
            campaign_class=CampaignClass.SAFETY,
            bulletin=(
                "The seal of the coolant pump may leak onto the wiring of the cooling "
                "fan. Replace the seal; replace the housing where the bore is worn."
            ),
            risk=(
                "Coolant on the fan wiring can cause a short circuit. That raises the "
                "risk of a fire."
            ),
            rules=(
                Rule(
                    lines=("Corvane", "Ketch"),
                    engines=("V27",),
                    plants=("Ostby",),
                    built_days_ago=(2_200, 1_650),
                ),
            ),
            forms=(
                Form(
                    code="A",
                    title="Replace the seal, check the bore",
                    hours=180,
                    operations=("coolant-drain", "pump-out", "pump-in", "coolant-fill"),
                    times=(
                        ("coolant-drain", 30),
                        ("pump-out", 50),
                        ("pump-in", 60),
                        ("coolant-fill", 40),
                    ),
                    steps=(
                        (
                            "Drain the coolant into a clean pan.",
                            "Hot coolant scalds: the engine must be cool. Wear gloves.",
                        ),
                        ("Take the pump out and clean its bore.", ""),
                        (
                            "Press the new seal in and fit the pump.",
                            "The seal is pressed in straight, never driven in.",
                        ),
                        ("Fill the coolant and let the air out.", ""),
                    ),
                    parts=(
                        ("VX-30866", 1, 10_000, _M),
                        ("VX-30867", 1, 1_500, _M),
                    ),
                    checks=(
                        Measure(
                            "Bore of the pump housing",
                            "Two-point gauge, at two heights; enter the larger value.",
                            "mm",
                            None,
                            "38.045",
                            ReadingResult.REPLACE,
                            "VX-30867",
                            after=2,
                        ),
                        Measure(
                            "Pressure held for five minutes",
                            "Hand pump on the expansion tank, engine cold.",
                            "kPa",
                            "118",
                            None,
                            ReadingResult.REPEAT,
                        ),
                    ),
                ),
            ),
            announced=262,
            letters=248,
            reminder=120,
            first_batch={"VX-30866": 0.92, "VX-30867": 0.20},
            claims_in=160,
            returns_in=19,
            short=4,
            ultimate=0.74,
            tools="Clean pan for twelve quarts, coolant as the manual says.",
            special_tools=(
                ("VX-T204", "Two-point bore gauge"),
                ("VX-T118", "Pressure pump with adapter"),
            ),
            loan_car_cents_a_day=4_500,
            cautions=(
                "Hot coolant scalds. Let the engine cool before you open the system; "
                "collect coolant as local law says."
            ),
        ),
        Plot(
            code="ER-26-02",
            maker_number="VX-E119",
            title="Vapour line clip",
            campaign_class=CampaignClass.EMISSIONS,
            bulletin=(
                "A clip of the vapour line can work loose, and vapour may escape. Fit "
                "the improved clip and test the system for leaks."
            ),
            risk="The vehicle may give off more fuel vapour than the standards allow.",
            rules=(
                Rule(
                    lines=("Ketch",),
                    engines=("V27",),
                    plants=("Ostby",),
                    built_days_ago=(1_300, 850),
                ),
            ),
            forms=(
                Form(
                    code="A",
                    title="Fit the improved clip and test for leaks",
                    hours=50,
                    operations=("underbody-cover", "vapour-clip", "leak-test"),
                    parts=(("VX-52031", 2, 10_000, _M),),
                    checks=(
                        Measure(
                            "Pressure loss in the leak test",
                            "Smoke tester or decay test over four minutes.",
                            "Pa",
                            None,
                            "250",
                            ReadingResult.STOP,
                        ),
                    ),
                ),
            ),
            announced=158,
            letters=144,
            first_batch={"VX-52031": 0.70},
            claims_in=400,
            returns_in=60,
            ultimate=0.55,
            tools="Leak tester.",
            cautions="Fuel vapour burns. No sparks, no lamp without a guard; air the bay.",
        ),
        Plot(
            code="CS-26-01",
            maker_number="VX-S061",
            title="Door check strap rattles",
            campaign_class=CampaignClass.SATISFACTION,
            bulletin=(
                "The check strap of the front doors may rattle. The manufacturer pays "
                "for new straps until the last day and up to the odometer limit."
            ),
            risk="The door may rattle. Driving is not affected.",
            rules=(
                Rule(
                    lines=("Corvane",),
                    engines=("T15",),
                    plants=("Kelda",),
                    model_years=(year - 5, year - 4, year - 3, year - 2),
                ),
            ),
            forms=(
                Form(
                    code="E",
                    title="Both front straps, earlier doors",
                    hours=60,
                    skill=Skill.BODY,
                    operations=("door-trim", "strap"),
                    parts=(("VX-60412", 2, 10_000, _M),),
                    conditions=({"fact": "model_year", "high": str(year - 4)},),
                ),
                Form(
                    code="L",
                    title="Driver's strap only, later doors",
                    hours=40,
                    skill=Skill.BODY,
                    operations=("door-trim", "strap"),
                    parts=(("VX-60412", 1, 10_000, _M),),
                    conditions=({"fact": "model_year", "low": str(year - 3)},),
                ),
            ),
            announced=120,
            letters=100,
            first_batch={"VX-60412": 0.25},
            claims_in=250,
            returns_in=45,
            odometer_limit=75_000,
            eligible_in=245,
            ultimate=0.42,
        ),
        Plot(
            code="SA-25-07",
            maker_number="VX-A233",
            title="Charge port latch",
            campaign_class=CampaignClass.SERVICE_ACTION,
            bulletin=(
                "The latch of the charge port can stick in frost. Replace the latch "
                "when the vehicle is in for other work."
            ),
            risk="The charge port may not open in frost.",
            rules=(
                Rule(
                    lines=("Lumen",),
                    engines=("E60",),
                    built_days_ago=(1_500, 1_100),
                ),
            ),
            forms=(
                Form(
                    code="A",
                    title="Replace the latch",
                    hours=40,
                    skill=Skill.ELECTRICAL,
                    operations=("port-trim", "latch"),
                    parts=(("VX-88240", 1, 10_000, _M),),
                ),
            ),
            announced=352,
            letters=340,
            first_batch={"VX-88240": 0.95},
            claims_in=-30,
            returns_in=-60,
            ultimate=0.97,
            closed=True,
            cautions=(
                "High voltage. Only people trained for it; follow the manufacturer's "
                "steps to make the vehicle safe."
            ),
        ),
    )


@dataclass(frozen=True)
class Service:
    """A scheduled service item that draws on a campaign's part."""

    code: str = "SV-75"
    title: str = "Coolant pump seal at 75,000 miles"
    lines: tuple[str, ...] = ("Corvane", "Ketch", "Tolmar")
    engines: tuple[str, ...] = ("V27",)
    miles: int = 75_000
    months: int = 84
    part: str = "VX-30866"
    also: str = "VX-30900"


SERVICE = Service()

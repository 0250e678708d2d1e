"""The walk of one campaign, step by step, as people do it at the screen."""

import csv
import datetime as dt
import io

import openpyxl
import pypdfium2

from vehicles.rules.vin import check_digit


CODE = "SR-90"
PART = "NB-2210"
VEHICLES = 24


def today() -> dt.date:
    """Give the day of the store, as the running house counts it."""
    from django.utils import timezone  # noqa: PLC0415 (settings must stand first)

    return timezone.localdate()


def vin_of(number: int) -> str:
    """Make the VIN of the walk's own invented vehicles; model year 2024."""
    head, tail = "1U0KTRA4", f"RB{number:06}"
    return f"{head}{check_digit(f'{head}0{tail}')}{tail}"


def owners_list() -> bytes:
    """Write the store's list as it really comes: semicolons, Windows-1252, German days.

    Row 25 has a wrong check digit, row 26 no VIN; the last three were built after the
    window, one on its last day.
    """
    out = io.StringIO()
    rows = csv.writer(out, delimiter=";", lineterminator="\r\n")
    rows.writerow(
        [
            "Fahrgestellnummer",
            "Modelljahr",
            "Modell",
            "Motor",
            "Werk",
            "Baudatum",
            "km-Stand?",
            "Kennzeichen",
            "Halter",
            "Straße",
            "Ort",
            "Staat",
            "PLZ",
            "Telefon",
        ]
    )
    for number in range(1, VEHICLES + 1):
        built = dt.date(2024, 3, 1) + dt.timedelta(days=number)
        rows.writerow(
            [
                vin_of(number),
                "2024",
                "Corvane",
                "T15",
                "Ostby",
                f"{built.day}.{built.month}.{built.year}",
                str(20_000 + number),
                f"TRN {number:03}",
                f"Zoë Müller-{number}",
                f"{number} Kiln Road",
                "Upper Tarn",
                "OH",
                "00191",
                "555-0100",
            ]
        )
    wrong = vin_of(1)[:8] + ("0" if vin_of(1)[8] != "0" else "1") + "RB000099"
    rows.writerow([wrong, "2024", *["Corvane", "T15", "Ostby", "2.3.2024"], *[""] * 8])
    rows.writerow(["", "2024", *["Corvane", "T15", "Ostby", "2.3.2024"], *[""] * 8])
    return out.getvalue().encode("cp1252")


def take_vehicles_in(office, folder) -> None:
    """Step 1: the list is read, a column corrected, what is refused handed back."""
    path = folder / "owners.csv"
    path.write_bytes(owners_list())
    office.go("/vehicles/lists/")
    office.send("Read this list", file=str(path))
    office.waits_for("Windows-1252")
    office.reads("owners.csv")
    correct_a_column(office)
    office.waits_for("Apply 24 rows")
    refused = office.fetches("Download 2 rows to mend")
    assert refused.decode("utf-8-sig").count("\n") == 3  # heads and two rows
    office.press("Apply 24 rows")
    office.waits_for("Applied")
    office.go("/vehicles/?q=" + vin_of(7)[-8:])
    office.reads("Zoë Müller-7")


def correct_a_column(office) -> None:
    """Say that the column nobody could guess is the odometer."""
    form = office.form("Read the list again with these columns")
    fold = form.locator("xpath=ancestor::details[not(@open)]")
    if fold.count():
        fold.first.locator("summary").first.click()
    form.get_by_label("km-Stand?").select_option("odometer")
    form.get_by_role("button", name="Read the list again").click()
    office.page.wait_for_load_state()


def enter_campaign(manager, folder) -> None:
    """Step 2: facts, remedy, criteria and the manufacturer's list; match and apply."""
    day = today()
    manager.go("/campaigns/new/")
    manager.send(
        "Enter the campaign",
        code=CODE,
        maker="Vexholm Motor Works",
        maker_number="VX-900",
        title="Hinge bolt may crack",
        campaign_class="safety",
        announced_on=str(day - dt.timedelta(days=3)),
        parts_available_on=str(day),
        claims_until=str(day + dt.timedelta(days=200)),
        returns_until=str(day + dt.timedelta(days=90)),
        risk="The rear door can open while driving.",
    )
    write_remedy(manager)
    manager.go(f"/campaigns/{CODE}/population/criteria/new/")
    manager.send(
        "Write the criterion down",
        include="yes",
        lines="Corvane",
        engines="T15",
        build_from="2024-03-01",
        build_to="2024-03-22",
    )
    match(manager, "First match", "21 come in")
    manager.go(f"/campaigns/{CODE}/population/")
    manager.reads("21")


def write_remedy(manager) -> None:
    """Write one variant with its part, its time and its check."""
    manager.go(f"/campaigns/{CODE}/remedy/new/")
    manager.send("Write the variant down", code="A", title="Replace the hinge bolt")
    manager.send(
        "Add the part",
        **{
            "part-number": PART,
            "part-quantity": 1,
            "part-name": "Hinge bolt",
            "part-unit_cost_cents": "18.25",
        },
    )
    manager.send(
        "Add the labour line",
        **{
            "labour-operation": "A-01",
            "labour-title": "Replace the hinge bolt",
            "labour-hours": "0.7",
        },
    )
    manager.send(
        "Add the check",
        **{
            "check-title": "Torque of the bolt",
            "check-unit": "Nm",
            "check-low": "43",
            "check-high": "49",
        },
    )
    manager.reads("Torque of the bolt")


def match(manager, why: str, expected: str) -> None:
    """Match all vehicles, read what would change, then apply it."""
    manager.go(f"/campaigns/{CODE}/population/criteria/")
    manager.press("Match all vehicles")
    manager.waits_for(expected)
    manager.send("Apply these changes", why=why)
    manager.waits_for("is applied and rules")


def take_makers_list(manager, folder) -> None:
    """Hand in the manufacturer's VIN list; one VIN on it is not in the file."""
    path = folder / "maker.csv"
    listed = [vin_of(n) for n in range(1, 22)] + [vin_of(500)]
    path.write_text("VIN\n" + "\n".join(listed) + "\n", encoding="utf-8")
    manager.go(f"/campaigns/{CODE}/population/list/")
    manager.send("Read the list", file=str(path))
    manager.send("Take the list in")
    manager.go(f"/campaigns/{CODE}/population/list/unknown/")
    manager.waits_for("000500")


def amend(manager) -> None:
    """Widen the window by a day: what would be added is shown before it is applied."""
    manager.go(f"/campaigns/{CODE}/population/criteria/")
    manager.page.get_by_role("link", name="Change", exact=True).first.click()
    manager.send("Write the criterion down", build_to="2024-03-23")
    match(manager, "The window is a day longer", "1 are to be verified")
    manager.go(f"/campaigns/{CODE}/amendments/")
    manager.reads("The window is a day longer")


def take_batch_in(parts) -> None:
    """Step 3: announced, billed, sent; one short, one damaged."""
    day = today()
    parts.go(f"/campaigns/{CODE}/parts/new/")
    parts.send(
        "Enter the first batch",
        part=PART,
        quantity=4,
        unit_cost_cents="18.25",
        announced_on=str(day - dt.timedelta(days=2)),
        bill_number="B-77",
        bill_dated=str(day - dt.timedelta(days=2)),
        slip_number="P-77",
        expected_on=str(day),
    )
    parts.reads("$73.00")
    parts.page.locator("a[href$='/receive/']").first.click()
    parts.send("Receive what came", good=2, damaged=1, bin_code="A-01")
    parts.reads("billed and not come")
    parts.reads("damaged")
    parts.reads("$18.25")
    parts.page.get_by_role("link", name=PART).first.click()
    parts.reads("A-01")


def write_to_owners(office) -> None:
    """Step 4: a round is drawn up, set, printed and posted.

    Two pieces are here for 21 vehicles, so the letter that says so is refused by the
    letter check, and the interim letter goes out instead.
    """
    office.go(f"/campaigns/{CODE}/letters/")
    office.send("Draw up the round", kind="first")
    office.reads("The letter check blocks this round")
    office.press("Cancel this round")
    office.go(f"/campaigns/{CODE}/letters/")
    office.send("Draw up the round", kind="interim")
    office.press("Set the letters")
    office.waits_for("Print the PDF at its full size")
    words = pdf_text(office.fetches("Letters (PDF)"))
    assert "Zoë Müller-1" in words
    assert CODE in words
    register = sheet_rows(office.fetches("Register (XLSX)"))
    # The register names vehicles; a list of people wants a right and a purpose.
    assert sum("letter" in row for row in register) == 21
    assert "Zoë Müller" not in str(register)
    office.press("as printed")
    office.press("Note the round as posted")
    office.reads("posted")


def book_at_the_counter(advisor) -> None:
    """Step 5: found by the last eight; the two pieces are booked, the third waits."""
    for number in (1, 2):
        find(advisor, number)
        advisor.reads("Hinge bolt may crack")
        advisor.page.get_by_role("link", name=f"Book {CODE}").first.click()
        advisor.press("Book the visit and hold the parts")
        advisor.reads("Booked")
    find(advisor, 3)
    advisor.press("Put on the waiting list")
    advisor.reads("aiting")


def find(person, number: int) -> None:
    """Type the last eight into the box and take the first answer."""
    person.go("/campaigns/")
    box = person.page.locator("input[name=q]").first
    box.fill(vin_of(number)[-8:])
    box.press("Enter")
    person.page.wait_for_url(f"**/counter/{vin_of(number)}/**")


def repair(technician) -> None:
    """Step 6: a reading out of limits blocks the sign-off; again, within, signed off."""
    find(technician, 1)
    technician.follow("Open the visit")
    technician.follow("Open the repair")
    technician.send("Open the repair", repair_order="RO-1001")
    technician.reads("next is the check “Torque of the bolt”")
    technician.follow("Next step")
    technician.send("Record attempt 1", value="40")
    technician.reads("OUT OF LIMITS: do the step again and measure")
    technician.send("Record attempt 2", value="46")
    technician.reads("every check is within its limits")
    technician.page.goto(technician.page.url.split("?")[0] + "?step=finish")
    technician.send("Sign the repair off", outcome="remedied", odometer=20_050)
    technician.reads("remedied")


def claim(manager) -> None:
    """The claim is ready: part 18.25 plus 30 per cent, 0.7 hours at 142.50; paid."""
    manager.go("/claims/")
    manager.page.locator("main a[href^='/claims/']").filter(has_text="1").last.click()
    manager.reads("23.73")
    manager.reads("99.75")
    manager.reads("$123.48")
    manager.send("Note the claim as sent")
    manager.send("Record the payment", advice="PA-1")
    manager.reads("paid")


def reconcile(parts) -> None:
    """Step 7: worked out on demand; the proposal says why, and is accepted."""
    parts.go("/proposals/")
    parts.press("Work them out now")
    parts.waits_for("This is done")
    parts.go("/proposals/")
    parts.page.get_by_role("link", name=PART).first.click()
    parts.reads("How was this worked out")
    parts.press("Order")
    parts.go("/parts/orders/")
    parts.reads("One order is on its way and in time")


def report(office) -> None:
    """Step 8: the completion report, as a page and as files; it adds up to 21."""
    office.go(f"/campaigns/{CODE}/report/")
    office.press("Make the report")
    office.waits_for("dealer's count, not a regulatory filing")
    office.waits_for("XLSX")
    words = pdf_text(office.fetches("Report (PDF)"))
    assert "not a regulatory filing" in words
    assert "21" in words
    rows = list(csv.reader(io.StringIO(office.fetches("CSV").decode("utf-8-sig"))))
    assert any("21" in row for row in rows)
    assert any(21 in row for row in sheet_rows(office.fetches("XLSX")))


def account(manager) -> None:
    """Step 9: 73.00 billed, 18.25 paid at cost; the rest is where the page says."""
    manager.go(f"/campaigns/{CODE}/money/")
    manager.reads("73.00")
    manager.reads("54.75")
    assert manager.text().count("54.75") >= 2
    assert "differ by" not in manager.text()


def pdf_text(content: bytes) -> str:
    """Read the words of a PDF."""
    pdf = pypdfium2.PdfDocument(content)
    words = "\n".join(page.get_textpage().get_text_range() for page in pdf)
    pdf.close()
    return words


def sheet_rows(content: bytes) -> list[tuple]:
    """Read the first sheet of a workbook."""
    book = openpyxl.load_workbook(io.BytesIO(content))
    return [tuple(cell.value for cell in row) for row in book.active.iter_rows()]

"""The whole visit of a mould of twelve circuits, from the gate of the plant to the certificate.

The mould is invented. Its readings are those of sound circuits: flow and air conductance follow from the baselines typed
first and from the hoses of the rig (in series: inverse squares add, for water as in IEC 60534, for air as in ISO 6358-1).
"""

import math

MOULD = "BR-12"
CIRCUITS = [f"{half}{number}" for half in "FM" for number in range(1, 7)]
RIG = {
    "Name of the rig": "Bench 1",
    "Uncertainty of the flow meter": "1",
    "Uncertainty of each pressure gauge": "0.004",
    "Flow factor of hoses joined": "1.6",
    "Volume of hoses": "60",
    "Sonic conductance of hoses": "6",
    "Air vessel that empties": "5000",
}
FLOW_FACTOR_M3_H = 1.2
CONDUCTANCE_DM3_S_BAR = 4.0


def in_series(a, b):
    return 1 / math.sqrt(1 / a**2 + 1 / b**2)


FLOW_L_MIN = in_series(FLOW_FACTOR_M3_H, 1.6) / 0.06
"""At a drop of 1 bar and water of 20 degC."""
EMPTY_S = 5.0 / in_series(CONDUCTANCE_DM3_S_BAR, 6.0) * math.log(7.013 / 4.013)
"""A vessel of 5 dm3 from 6 to 3 bar (gauge) at choked flow: p falls as exp(-C t / V)."""


def begin(page, base, name="Kim Dale", short="KD"):
    """First start: a name, nothing else."""
    page.goto(base + "/")
    page.get_by_label("Name", exact=True).fill(name)
    page.get_by_label("Short name").fill(short)
    page.get_by_role("button", name="Begin").click()


def add_person(page, base, name, short):
    page.goto(base + "/people")
    page.get_by_label("Name", exact=True).last.fill(name)
    page.get_by_label("Short name").last.fill(short)
    page.get_by_role("button", name="Add").click()


def be(page, base, short):
    page.goto(base + "/who")
    page.get_by_role("button", name=short).first.click()


def send(hand, form, fields, button):
    for label, value in fields.items():
        hand.fill(form, label, value)
    hand.press(form, button)
    alert = hand.page.locator("[role=alert]")
    assert alert.count() == 0, f"{hand.page.url}: {alert.first.inner_text()}"


def main_form(page, button):
    return page.locator("form", has=page.get_by_role("button", name=button, exact=True)).first


def take_in(hand, base):
    """Rig, mould without papers, its circuits and what they can do as new."""
    page = hand.page
    hand.goto(base + "/new-rig")
    send(hand, main_form(page, "Record the rig"), RIG, "Record the rig")
    hand.goto(base + "/take-in")
    fields = {"Id": MOULD, "What it makes": "Bucket", "Half 1, openings": "12", "Half 2, openings": "12"}
    send(hand, main_form(page, "Take it in"), fields, "Take it in")
    for half, name in (("F", "fixed"), ("M", "moving")):
        hand.goto(f"{base}/moulds/{MOULD}/find")
        fields = {}
        for row in range(1, 7):
            fields[f"Half, row {row}"] = name
            fields[f"Opening IN, row {row}"] = str(2 * row - 1)
            fields[f"Opening OUT, row {row}"] = str(2 * row)
            fields[f"Name, row {row}"] = f"{half}{row}"
        fields["Metals that the water touches"] = "1.2311"
        fields["Seals that it touches"] = "FKM"
        send(hand, main_form(page, "Record these circuits"), fields, "Record these circuits")
    for circuit in CIRCUITS:
        hand.goto(f"{base}/moulds/{MOULD}/circuits/{circuit}/baseline")
        group = page.locator("details", has=page.get_by_text("Type a baseline"))
        hand.open(group)
        fields = {
            "Flow factor, m³/h": f"{FLOW_FACTOR_M3_H}",
            "Filled volume, ml": "48",
            "Sonic conductance": f"{CONDUCTANCE_DM3_S_BAR}",
            "Where it comes from": "first sampling",
        }
        send(hand, group.locator("form"), fields, "Record the baseline")


def start(hand, base):
    """The visit and its hook-up. Answers the visit's address."""
    page = hand.page
    hand.goto(f"{base}/moulds/{MOULD}")
    form = main_form(page, "Begin a visit")
    send(hand, form, {"Rig": "Bench 1"}, "Begin a visit")
    visit = page.url.split("?")[0]
    hand.goto(visit + "/hook-up")
    form = page.locator("form", has=page.get_by_label("Port, row 1", exact=True)).first
    fields = {f"Port, row {at}": str(at) for at in range(1, len(CIRCUITS) + 1)}
    send(hand, form, fields, form.get_by_role("button").last.inner_text())
    return visit


def entry(page, title):
    return page.locator("details", has=page.locator("summary", has_text=title)).first


def enter(hand, visit, circuit, title, fields):
    """One form of a circuit; the page must say that it was recorded."""
    hand.goto(f"{visit}/circuits/{circuit}")
    group = entry(hand.page, title)
    hand.open(group)
    send(hand, group.locator("form"), fields, "Record")
    said = hand.page.locator("#recorded")
    assert said.count() == 1, f"{hand.page.url} does not say that {title} was recorded: {hand.page.locator('main').inner_text()[:400]}"


def readings(hand, visit, circuits):
    """Everything that is read of some circuits, in the order of the ladder."""
    for circuit in circuits:
        enter(hand, visit, circuit, "Something was done", {"What was done": "blown out"})
        fields = {"Pressure at the start": "6.000", "Pressure at the end": "5.998", "Time between the two": "120", "Supply held": "30"}
        enter(hand, visit, circuit, "Leak-down", fields)
        fields = {
            "What was charged": "a vessel of the rig that empties through it",
            "Pressure before the return": "6.00",
            "Pressure after": "3.00",
            "Time between the two": f"{EMPTY_S:.2f}",
        }
        enter(hand, visit, circuit, "Air passage", fields)
        fields = {
            "Flow, l/min": f"{FLOW_L_MIN:.2f}",
            "Pressure at the inlet": "2.000",
            "Pressure at the outlet": "1.000",
            "Temperature of the water": "20",
        }
        enter(hand, visit, circuit, "Flow", fields)
        enter(hand, visit, circuit, "Something was done", {"What was done": "dried"})


def finish(hand, visit):
    """Release and certificate. Answers the certificate's PDF."""
    page = hand.page
    hand.goto(visit)
    said = page.locator("h1").first.inner_text()
    assert said.lower().startswith("ready for the press"), f"after all readings the page says: {said}"
    form = page.locator("form[action$='/end']")
    group = form.locator("xpath=ancestor::details")
    if group.count():
        hand.open(group.first)
    send(hand, form, {"How it ends": "release: back to the press"}, "End the visit")
    hand.goto(visit)
    form = page.locator("form[action$='/certificate']").first
    send(hand, form, {}, form.get_by_role("button").last.inner_text())
    assert "/certificates/" in page.url, page.url
    pdf = page.request.get(page.url.split("?")[0] + "/certificate.pdf").body()
    assert pdf.startswith(b"%PDF"), pdf[:40]
    return pdf

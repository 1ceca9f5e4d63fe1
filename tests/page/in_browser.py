"""The page as a mould maker meets it: in_browser.py ADDRESS GUARDED CHROMIUM MODELS [PICTURES].

GUARDED is the address of a server that takes the token in SLITWRIGHT_TOKEN, which may read."""

import math
import os
import struct
import sys
import tempfile
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

address, guarded, chromium, models = sys.argv[1], sys.argv[2], sys.argv[3], Path(sys.argv[4])
pictures = Path(sys.argv[5]) if len(sys.argv) > 5 else None

# Software drawing: machines that test have no graphics card.
FLAGS = ["--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--no-sandbox"]
# Budgets of the plans, and of the trial of drawn cuts, s.
PLAN_SECONDS = 15
JUDGE_SECONDS = 10
# So often at most a plan that was not tried in time gets a minute more.
MOST_MINUTES_MORE = 3
# What the service may take beside a budget, s: a model read and repaired, the last step that was begun, a file drawn,
# all on a machine of two cores that others keep busy (no source).
BESIDE = 120


def patience(seconds=0):
    """How long to wait for what has this budget, ms."""
    return 1000 * (seconds + BESIDE)


def longest_side(file):
    """Of a binary STL file, in its own units."""
    data = file.read_bytes()
    (count,) = struct.unpack_from("<I", data, 80)
    corners = []
    for k in range(count):
        numbers = struct.unpack_from("<9f", data, 84 + 50 * k + 12)
        corners += [numbers[0:3], numbers[3:6], numbers[6:9]]
    return max(max(c[axis] for c in corners) - min(c[axis] for c in corners) for axis in range(3))


def words(text):
    """With plain spaces between them, wherever lines may or may not break."""
    return " ".join(text.split())


class Visit:
    """One browser with one page, and what it complained of."""

    def __init__(self, browser):
        self.context = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True)
        self.page = self.context.new_page()
        self.complaints = []
        self.page.on("console", self.heard)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", self.asked)

    def heard(self, message):
        if message.type in ("error", "warning") and "GPU stall" not in message.text:
            self.complaints.append(message.text)

    def asked(self, request):
        if not request.url.startswith((address, f"blob:{address}", guarded)):
            self.complaints.append(f"it asked {request.url}")

    def words_apart(self):
        """No two words on the view lie on each other, and none leaves it."""
        found = self.page.evaluate(
            """() => [...document.querySelectorAll(".viewport")].flatMap((view) => {
                const whole = view.getBoundingClientRect();
                const marks = [...view.querySelectorAll(".mark:not([hidden])")];
                const boxes = marks.map((mark) => ({ ...mark.getBoundingClientRect().toJSON(), words: mark.textContent }));
                const out = boxes.filter((own) => own.left < whole.left || own.right > whole.right
                    || own.top < whole.top || own.bottom > whole.bottom);
                const on = boxes.flatMap((own, k) => boxes.slice(k + 1)
                    .filter((other) => own.left < other.right && other.left < own.right
                        && own.top < other.bottom && other.top < own.bottom)
                    .map((other) => `${own.words} on ${other.words}`));
                return [...on, ...out.map((own) => `${own.words} leaves the view`)];
            })"""
        )
        assert not found, found

    def picture(self, name):
        # Drawn once more when the page has come to rest.
        self.page.wait_for_timeout(400)
        self.words_apart()
        if pictures:
            self.page.screenshot(path=pictures / f"{name}.png")

    def open_to_all(self, where):
        """No serious finding of axe-core (Deque's rules for WCAG 2.2 A and AA and its best practice)."""
        found = Axe().run(self.page).response["violations"]
        found = [f"{f['id']}: {f['nodes'][0]['html']}" for f in found if f["impact"] in ("serious", "critical")]
        assert not found, f"{where}: {found}"


def ball_with_an_uneven_hole(file):
    """A ball of 30 mm as OFF, without its top; the rim of the hole is not flat."""
    around, along = 24, 12
    corners = [(0.0, 0.0, -30.0)]
    for k in range(1, along):
        polar = math.pi * (1 - k / along)
        for j in range(around):
            angle = 2 * math.pi * j / around
            # The last ring goes up and down.
            wave = 3 * math.cos(3 * angle) if k == along - 3 else 0
            level = 30 * math.cos(polar) + wave
            wide = math.sqrt(900 - level**2)
            corners.append((wide * math.cos(angle), wide * math.sin(angle), level))
    at = lambda k, j: 1 + (k - 1) * around + j % around
    faces = [(0, at(1, j + 1), at(1, j)) for j in range(around)]
    for k in range(1, along - 3):
        for j in range(around):
            faces += [(at(k, j), at(k, j + 1), at(k + 1, j + 1)), (at(k, j), at(k + 1, j + 1), at(k + 1, j))]
    used = corners[: 1 + (along - 3) * around]
    lines = ["OFF", f"{len(used)} {len(faces)} 0"]
    lines += [" ".join(f"{c:.6f}" for c in corner) for corner in used]
    lines += ["3 " + " ".join(map(str, face)) for face in faces]
    file.write_text("\n".join(lines) + "\n")


def answer_a_refusal(visit):
    """A scan with a large hole is refused with its size, and read when somebody says that it is to be filled."""
    page = visit.page
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "scan.off"
        ball_with_an_uneven_hole(file)
        page.goto(address)
        page.wait_for_selector("#file")
        page.set_input_files("#file", file)
        page.check("input[value=LENGTH_UNIT_MILLIMETRE]")
        page.click("text=Send it and look")
        page.wait_for_selector(".report .fault", timeout=patience())
        refused = page.inner_text(".report")
        assert "mm across and not flat" in refused and "chunk" not in refused.lower(), refused
        holes = page.locator("[data-field='header.options.largest_hole_mm']")
        assert holes.is_visible(), "what may be repaired is shown when it is asked for"
        visit.picture("refused")
        visit.open_to_all("refused")
        bodies = page.locator("[data-field='header.options.bodies']")
        bodies.fill("one")
        page.click("text=Send it and look")
        assert "whole numbers" in page.inner_text("#header-options-bodies-fault")
        bodies.fill("")
        holes.fill("60")
        page.click("text=Send it and look")
        page.wait_for_selector("#agree", timeout=patience())
        assert "filled a hole" in page.inner_text(".report").lower()
        visit.picture("repaired")


def send_the_jug(visit):
    page, file = visit.page, models / "jug.stl"
    page.goto(address)
    page.wait_for_selector("#file")
    visit.open_to_all("new plan")
    page.set_input_files("#file", file)
    page.click("text=Send it and look")
    assert "Choose the unit" in page.inner_text("[data-fault='header.unit']")
    page.check("input[value=LENGTH_UNIT_CENTIMETRE]")
    page.click("text=Send it and look")
    page.wait_for_selector("#agree", timeout=patience())
    tall = longest_side(file)
    assert words(page.inner_text("#longest")) == f"{10 * tall:.0f} mm", page.inner_text("#longest")
    page.check("input[value=LENGTH_UNIT_MILLIMETRE]")
    page.click("text=Send it again")
    page.locator("#longest").get_by_text(f"{tall:.0f} mm", exact=True).wait_for(timeout=patience())
    visit.picture("new-model")
    page.click("#agree")


def ask_for_a_plan(visit):
    page = visit.page
    side = "[data-field='request.mould.box.side_clearance_mm']"
    page.fill(side, "0")
    page.fill("[data-field='request.budget.time_limit_seconds']", str(PLAN_SECONDS))
    # A base that is picked: without a place it is no base, and what is picked is shown.
    page.check("input[name=base][value=place]")
    page.click("#go")
    missing = page.locator("p.fault:visible", has_text="No place is picked yet")
    missing.wait_for()
    page.click("text=Pick the base opening on the model")
    page.locator("#stage canvas").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("text=it is shown in blue on the model")
    missing.wait_for(state="hidden")
    page.locator("#stage .labels", has_text="base opening").wait_for()
    visit.picture("new-base")
    page.check("input[name=base][value=flat]")
    draw_outlines(visit)
    # The jug's face, as it were: in the middle of what is seen.
    page.check("input[name=wish][value=keepOff]")
    page.click("text=Mark a place on the model")
    page.locator("#stage canvas").focus()
    page.keyboard.press("Enter")
    radius = page.locator("[data-field='request.areas.keep_off[1].ball.radius_mm']")
    radius.fill("-1")
    page.click("#go")
    page.locator("p.fault:visible", has_text="It is -1").wait_for()
    radius.fill("8")
    fault = page.locator("p.fault:visible", has_text="give a number from 1 to 1000")
    page.click("#go")
    fault.wait_for()
    # Right below the field, which says so to those who do not see it.
    assert page.get_attribute(side, "aria-invalid") == "true"
    assert fault.get_attribute("id") == page.get_attribute(side, "aria-describedby")
    visit.open_to_all("a fault in the form")
    visit.picture("new-fault")
    assert radius.get_attribute("aria-invalid") is None
    page.fill(side, "15")
    page.click("#go")
    page.wait_for_selector("text=At work")
    # The service has the outlines as they were drawn, and the page shows those that it has.
    areas = asked_for(page)["areas"]
    assert [list(area) for area in areas["keepOff"]] == [["polygon"], ["ball"]], areas
    assert [len(area["polygon"]["corners"]) for area in areas["keepOff"][:1]] == [4], areas
    assert [len(own["area"]["polygon"]["corners"]) for own in areas["preferred"]] == [3], areas
    for words in ("no seam 1", "no seam 2", "seam welcome 3"):
        page.locator("#stage .labels", has_text=words).wait_for()
    visit.picture("plan-at-work")
    page.wait_for_selector(".files button", timeout=patience(PLAN_SECONDS))
    more_time_until_tried(page)
    visit.picture("plan")


def more_time_until_tried(page):
    """A machine that others keep busy may not come to the trial in time: then a minute more is given, as people would."""
    for _ in range(MOST_MINUTES_MORE):
        if "NOT TRIED" not in page.inner_text("#verdict"):
            return
        page.click("text=1 min more")
        page.wait_for_selector("h2:text-is('At work')")
        page.wait_for_selector(".files button", timeout=patience(60))
    assert "NOT TRIED" not in page.inner_text("#verdict"), "the release was never tried"


def asked_for(page):
    """The request of the plan that is open, as the service has it."""
    return page.evaluate(
        """async () => {
            const { getPlan } = await import("/page/service.js");
            const { request } = await getPlan({ name: `plans/${location.hash.split("/")[2]}` });
            return JSON.parse(JSON.stringify(request, (_, own) => (typeof own === "bigint" ? String(own) : own)));
        }"""
    )


def draw_outlines(visit):
    """Where no seam may be, by the mouse, and where one is welcome, by the keyboard."""
    page = visit.page
    stage = page.locator("#stage canvas")
    page.click("text=Draw an outline on the model")
    box = stage.bounding_box()
    corners = [(-0.05, -0.05), (0.05, -0.05), (0.05, 0.05), (-0.05, 0.05)]
    for number, (across, down) in enumerate(corners, 1):
        page.mouse.click(box["x"] + (0.5 + across) * box["width"], box["y"] + (0.5 + down) * box["height"])
        page.locator(".outlining", has_text=f"{number} corner").wait_for()
        if number == 2:
            page.click("#close-outline")
            page.locator(".outlining .fault", has_text="three corners or more").wait_for()
    page.locator("#stage .labels", has_text="1").wait_for()
    visit.picture("new-outline")
    visit.open_to_all("an outline being drawn")
    page.click("#close-outline")
    page.locator("li", has_text="Outline 1, no seam, 4 corners").wait_for()
    page.check("input[name=wish][value=preferred]")
    page.click("text=Draw an outline on the model")
    # Enter takes what is under the cross; the view is moved between.
    for key in ("Shift+ArrowDown", "Shift+ArrowRight", "Shift+ArrowUp"):
        page.keyboard.press(key)
        page.keyboard.press("Enter")
    page.locator(".outlining", has_text="3 corners").wait_for()
    page.locator("#close-outline").focus()
    page.keyboard.press("Enter")
    page.locator("li", has_text="Outline 2, seam welcome, 3 corners").wait_for()
    for words in ("no seam 1", "seam welcome 2"):
        page.locator("#stage .labels", has_text=words).wait_for()
    # One that is not wanted after all.
    page.click("text=Draw an outline on the model")
    page.click(".outlining >> text=Leave it")
    assert page.locator(".outlining").count() == 0
    visit.picture("new-outlines")
    # What is taken off the list is taken off the model, and nothing else. It lies on the first one, and their words keep
    # apart.
    page.click("text=Draw an outline on the model")
    for across, down in corners[:3]:
        page.mouse.click(box["x"] + (0.5 + across) * box["width"], box["y"] + (0.47 + down) * box["height"])
    page.click("#close-outline")
    page.locator("#stage .labels", has_text="seam welcome 3").wait_for()
    visit.picture("new-overlapping")
    page.get_by_role("button", name="Remove outline 3, seam welcome").click()
    page.locator("#stage .mark", has_text="seam welcome 3").wait_for(state="detached")
    page.locator("#stage .mark", has_text="seam welcome 2").wait_for()


def open_a_blanket(visit):
    """A plan of a blanket: its outside and the line between the parts of its shell are shown."""
    page = visit.page
    page.goto(f"{address}#/new")
    page.wait_for_selector("#file")
    page.set_input_files("#file", models / "clapper.stl")
    page.check("input[value=LENGTH_UNIT_MILLIMETRE]")
    page.click("text=Send it and look")
    page.click("#agree", timeout=patience())
    page.check("input[name=shape][value=blanket]")
    page.fill("[data-field='request.budget.time_limit_seconds']", str(PLAN_SECONDS))
    page.click("#go")
    page.wait_for_selector("text=At work")
    page.wait_for_selector(".files button", timeout=patience(PLAN_SECONDS))
    tools = page.locator("#stage .legend")
    tools.get_by_text("where the shell round the blanket is parted").wait_for()
    tools.get_by_text("rubber", exact=True).wait_for()
    shown = page.evaluate(
        """async () => {
            const { getPlan } = await import("/page/service.js");
            const { plan } = await getPlan({ name: `plans/${location.hash.split("/")[2]}` });
            return plan.advice.shell.partingLines.map(({ line }) => line.points.length);
        }"""
    )
    assert shown and min(shown) > 1, shown
    visit.picture("blanket")
    visit.open_to_all("a blanket's plan")


def look_at_the_plan(visit):
    page = visit.page
    verdict = words(page.inner_text("#verdict strong"))
    # The page's first line is that of the plan's own page of words.
    first = page.evaluate(
        """async () => {
            const { planFile } = await import("/page/service.js");
            const { blob } = await planFile(`plans/${location.hash.split("/")[2]}/files/plan.txt`);
            return (await blob.text()).split("\\n\\n")[0];
        }"""
    )
    assert words(first) == verdict, (first, verdict)
    cautions = page.inner_text(".cautions")
    assert "Clamp the mould" in cautions and "safety data sheet" in cautions
    canvas = page.locator("#stage canvas")
    canvas.focus()
    before = page.inner_text(".caption")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    after = page.inner_text(".caption")
    assert before != after and "right" in after, (before, after)
    page.keyboard.press("Home")
    page.locator(".caption").get_by_text(before, exact=True).wait_for()
    visit.open_to_all("plan")


def watch_the_way_out(visit):
    page = visit.page
    page.click("text=The way out")
    page.wait_for_selector("#moment", timeout=patience())
    last = page.get_attribute("#moment", "max")
    page.focus("#moment")
    page.keyboard.press("End")
    page.wait_for_selector(f"text=Moment {last} of {last}")
    visit.picture("way-out")
    visit.open_to_all("way out")
    page.click("text=The plan")


def save_for_the_bench(visit):
    page = visit.page
    for name, begins in [("plan.pdf", b"%PDF"), ("template.pdf", b"%PDF"), ("plan.html", b"<!DOCTYPE html>")]:
        with page.expect_download(timeout=patience()) as came:
            page.click(f"text=Save {name}")
        bytes_ = Path(came.value.path()).read_bytes()
        assert bytes_.startswith(begins) and came.value.suggested_filename == f"jug-{name}", bytes_[:20]
    # Printed, the cautions have room of their own at the foot of each page: they lay on the words there.
    paper = visit.context.new_page()
    paper.set_content(bytes_.decode())
    paper.emulate_media(media="print")
    foot = paper.evaluate("getComputedStyle(document.querySelector('.always')).display")
    assert foot == "table-footer-group", foot
    paper.close()


def draw_and_compare(visit):
    page = visit.page
    first = page.evaluate("location.hash.split('/')[2]")
    page.click("text=Draw on it")
    page.wait_for_selector("#judge")
    box = page.locator("#stage canvas").bounding_box()
    # Up the middle of what is seen.
    for share in (0.62, 0.55, 0.5):
        page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + share * box["height"])
    page.wait_for_selector("text=3 points")
    # And one by the keyboard, under the cross once the view is turned.
    page.locator("#stage canvas").focus()
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=4 points")
    visit.picture("draw")
    visit.open_to_all("draw")
    page.fill("#seconds", "0")
    page.click("#judge")
    page.wait_for_selector("#seconds-fault >> text=give a number")
    page.fill("#seconds", str(JUDGE_SECONDS))
    page.click("#judge")
    page.wait_for_selector(".files button", timeout=patience(JUDGE_SECONDS))
    assert page.locator(".misses li").count() > 0, "a short line on the side of a jug is not enough"
    visit.picture("judged")
    second = page.evaluate("location.hash.split('/')[2]")
    page.click("nav >> text=All plans")
    page.check(f"#tick-{first}")
    page.check(f"#tick-{second}")
    visit.picture("jobs")
    visit.open_to_all("all plans")
    page.click("text=Compare the two")
    page.wait_for_selector("tbody tr", timeout=patience())
    assert page.locator(".pair canvas").count() == 2
    visit.picture("compare")
    visit.open_to_all("side by side")
    return first, second


def on_a_phone(visit, plan, other):
    page = visit.page
    page.set_viewport_size({"width": 390, "height": 844})
    for name, path in [("plan", f"plan/{plan}"), ("new", "new"), ("jobs", "plans"), ("compare", f"compare/{plan}/{other}")]:
        page.goto(f"{address}#/{path}")
        wait = {"plan": ".files button", "new": "#file", "jobs": ".job", "compare": "tbody tr"}[name]
        page.wait_for_selector(wait, timeout=patience())
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 390, f"{name} is {wide} px wide"
        visit.picture(f"phone-{name}")
        if name == "plan":
            page.evaluate("document.querySelector('.files').scrollIntoView()")
            # The verdict stays in sight.
            top = page.locator("#verdict").bounding_box()
            assert 0 <= top["y"] < 100, top
            visit.picture("phone-plan-below")
        visit.open_to_all(f"{name} on a phone")


def delete(visit, plan):
    page = visit.page
    page.goto(f"{address}#/plans")
    press = page.locator(f"#Delete-{plan}")
    press.click()
    page.click("text=No, keep it")
    assert page.locator(f"#tick-{plan}").count() == 1
    press.click()
    page.click("text=Delete it")
    page.locator(f"#tick-{plan}").wait_for(state="detached")


def with_a_token(visit):
    page = visit.page
    page.goto(guarded)
    page.wait_for_selector("#tokens[open]")
    visit.open_to_all("the question for a token")
    page.fill("#token-value", "slw_wrong")
    page.click("text=Use it")
    page.wait_for_selector("text=does not take the token")
    page.fill("#token-value", os.environ["SLITWRIGHT_TOKEN"])
    page.click("text=Use it")
    page.wait_for_selector("#file")
    # It may look, not change anything.
    page.set_input_files("#file", models / "plinth.stl")
    page.check("input[value=LENGTH_UNIT_MILLIMETRE]")
    page.click("text=Send it and look")
    page.wait_for_selector("text=may not do this", timeout=patience())


if pictures:
    pictures.mkdir(parents=True, exist_ok=True)
with sync_playwright() as playwright:
    browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
    visit = Visit(browser)
    answer_a_refusal(visit)
    send_the_jug(visit)
    ask_for_a_plan(visit)
    look_at_the_plan(visit)
    watch_the_way_out(visit)
    save_for_the_bench(visit)
    plan, judged = draw_and_compare(visit)
    open_a_blanket(visit)
    on_a_phone(visit, plan, judged)
    delete(visit, judged)
    with_a_token(visit)
    browser.close()
    assert not visit.complaints, visit.complaints
print("in_browser: 11 passed, 0 failed")

"""The owner's form as a page, in a real browser: filled, reloaded, skipped, gone back in, saved.

Usage: form_page_test.py PROGRAM

See browser.py for what it needs.
"""
import base64
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import time
import unittest

from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select

from browser import ATTACKS, DESK, PHONE, axe_source, faults, start, violations

PROGRAM = os.path.abspath(sys.argv.pop(1))
TODAY = "2026-03-18"
UNKNOWN = "unknown"
scratch = tempfile.TemporaryDirectory()


def run(*arguments, text="", code=0):
    done = subprocess.run([PROGRAM, *arguments], input=text.encode(), capture_output=True, check=False)
    assert done.returncode == code, (arguments, done.returncode, done.stderr.decode())
    return done.stdout.decode()


class Page:
    """A browser that shows the form, and what a person can do with it."""

    def __init__(self, *options, size=PHONE, dark=False, before=None):
        self.path = os.path.join(scratch.name, f"form{len(options)}.html")
        run("form", "blank", "--format", "html", "--out", self.path, *options)
        with open(self.path, encoding="utf-8") as file:
            self.html = file.read()
        data = re.search(r'<script type="application/json" id="data">(.*?)</script>', self.html)[1]
        self.data = json.loads(data)
        self.questions = self.data["questions"]
        self.by_key = {q["key"]: q for q in self.questions}
        self.downloads = tempfile.mkdtemp(dir=scratch.name)
        self.browser = start(size, dark, self.downloads, before)
        self.open()

    def open(self):
        self.browser.get("file://" + self.path)

    def keep(self, state):
        """Opens the page as if `state` had been kept in it before."""
        self.script("for (const s of [sessionStorage, localStorage]) s.setItem(arguments[0], arguments[1])",
                    self.data["storage"], json.dumps(state))
        self.open()

    def kept(self, storage="sessionStorage"):
        return self.script(f"return {storage}.getItem(arguments[0])", self.data["storage"])

    def close(self):
        self.browser.quit()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def at(self, name):
        return self.browser.find_element(By.ID, name)

    def shows(self, name):
        return self.at(name).is_displayed()

    def press(self, name):
        self.at(name).click()

    def script(self, text, *arguments):
        return self.browser.execute_script(text, *arguments)

    def change(self, key):
        """Presses Change beside an answer of the summary."""
        self.browser.find_element(
            By.CSS_SELECTOR, f'[aria-label="Change: {self.by_key[key]["text"]}"]').click()

    def said(self, *names):
        """What is said at once: above and below a question, or on the summary."""
        return [line for name in names or ("stop", "warning") for line in self.at(name).text.splitlines()]

    def question(self):
        """The question that is shown, as the page's data have it."""
        if not self.shows("ask"):
            return None
        text = self.at("question").get_attribute("textContent")
        found = [q for q in self.questions if q["text"] == text]
        assert len(found) == 1, text
        return found[0]

    def give(self, question, answer):
        if question["choices"]:
            for word in [answer] if isinstance(answer, str) else answer:
                box = self.browser.find_element(By.CSS_SELECTOR, f'input[value="{word}"]')
                box.find_element(By.XPATH, "..").click()
            return
        field = self.at("answer")
        if question["kind"] == "date":
            self.script("arguments[0].value = arguments[1];"
                        "arguments[0].dispatchEvent(new Event('change', {bubbles: true}))", field, answer)
            return
        field.clear()
        value, unit = answer if isinstance(answer, tuple) else (answer, None)
        field.send_keys(value)
        if unit:
            Select(self.at("unit")).select_by_value(unit)

    def answer(self, answers, until=None):
        """Walks on, answering what is in `answers` and skipping the rest."""
        while (q := self.question()) and q["key"] != until:
            if q["key"] in answers:
                self.give(q, answers[q["key"]])
                self.press("next")
            else:
                self.press("next" if q["required"] else "skip")
            assert self.question() != q, self.at("problem").text
        return self

    def record(self):
        for _ in range(100):
            if text := self.at("record").get_property("value"):
                return text
            time.sleep(0.1)  # the page may still be on its way to the last screen
        raise AssertionError("no record is shown: " + self.browser.find_element(By.TAG_NAME, "body").text)

    def save(self):
        before = set(os.listdir(self.downloads))
        self.press("save")
        for _ in range(100):
            new = [n for n in set(os.listdir(self.downloads)) - before if n.endswith(".json")]
            if new:
                with open(os.path.join(self.downloads, new[0]), encoding="utf-8") as file:
                    text = file.read()
                if text:  # an empty file holds the name until the rest has come
                    return new[0], text
            time.sleep(0.1)
        raise AssertionError("nothing was saved")

    def faults(self):
        return faults(self.browser)


# --------------------------------------------------- the same answers in other shapes

def applies(page, answers, question):
    if not question["gateWords"]:
        return True
    gate = page.questions[question["gate"]]
    given = answers.get(gate["key"])
    return (applies(page, answers, gate) and given is not None and
            bool({given} & set(question["gateWords"])))


def label(question, word):
    return next(c["text"] for c in question["choices"] if c["word"] == word)


def as_text_form(page, answers, blank):
    """The text form, filled with an editor."""
    for key, answer in answers.items():
        question = page.by_key[key]
        begin = blank.index(f"\n[{key}]") + 1
        if question["choices"]:
            for word in [answer] if isinstance(answer, str) else answer:
                box = blank.index("[ ] " + label(question, word), begin)
                blank = blank[:box] + "[x]" + blank[box + 3:]
        else:
            line = blank.index("Answer:", begin)
            end = blank.index("\n", line)
            value = " ".join(answer) if isinstance(answer, tuple) else answer
            blank = blank[:line] + "Answer: " + value + blank[end:]
    return blank


def as_typed(page, answers):
    """What somebody types at the terminal."""
    lines = []
    units_asked = False
    for question in page.questions:
        if not applies(page, answers, question):
            continue
        if question.get("miles") and not units_asked:
            units_asked = True
            lines.append("")
        answer = answers.get(question["key"])
        if answer is None:
            lines.append("skip" if not question["required"] else "")
        elif question["choices"]:
            words = [c["word"] for c in question["choices"]]
            lines.append(" ".join(str(words.index(w) + 1)
                                  for w in ([answer] if isinstance(answer, str) else answer)))
        else:
            lines.append(" ".join(answer) if isinstance(answer, tuple) else answer)
    return "".join(line + "\n" for line in lines)


def by_terminal(page, answers, *options):
    path = os.path.join(scratch.name, "asked.jsonl")
    run("form", "ask", "--today", answers["date"], "--save", path, *options, text=as_typed(page, answers))
    with open(path, encoding="utf-8") as file:
        return [json.loads(line) for line in file]


def objects(text):
    return [json.loads(line) for line in text.splitlines()]


def of_page(text):
    one = json.loads(text)
    return one if isinstance(one, list) else [one]


def random_answers(page, draw):
    answers = {"unit-id": "HL-0147", "date": TODAY}
    for question in page.questions:
        if question["key"] in answers or not applies(page, answers, question) or draw.random() < 0.2:
            continue
        words = [c["word"] for c in question["choices"]]
        kind = question["kind"]
        answers[question["key"]] = (
            draw.choice(words) if kind == "one" else
            [w for w in words if draw.random() < 0.6] or words[:1] if kind == "several" else
            draw.choice([TODAY, "2026-01-31", "2024-02-29"]) if kind == "date" else
            draw.choice(["2017", "2017-05"]) if kind == "month" else
            "since May, louder" if kind in ("long", "text") else
            ("123,456", "mi") if question["key"] == "odometer" else
            (draw.choice(["0", "90000", "68000.5", "123,456"]), draw.choice(["km", "mi"]))
            if question.get("miles") else draw.choice(["0", "35.5", "100"]))
    return answers


DO_NOT_DRIVE = ("Do not drive the car and do not charge it. Have it carried away on a flatbed, with all wheels off "
                "the road, by a workshop licensed for high-voltage work. A towed axle turns the motor.")
MEASURE = ("Before any further driving and within 7 days: Ask a workshop that is licensed for high-voltage "
           "work to check the drive unit's electrical insulation.")
NOTHING = {"answers": {}, "at": -1, "unit": ""}  # what a page that has not been started keeps
OWNER = {  # examples/owner-no-port-check.json, as an owner would answer
    "unit-id": "HL-0111", "unit-vehicle": "plover-2/Tarn", "unit-built": "2018", "date": "2026-03-18",
    "odometer": ("109,000", "km"), "noise-present": "yes", "noise-onset": "gradual",
    "noise-when": ["accelerating"], "noise-pitch-follows-speed": "yes", "noise-level": "faint",
    "faults-isolation": "none", "faults-shutdown": "no", "faults-reduced-power": "no",
    "coolant-loss": "some", "coolant-outside-leak-seen": "no", "port-checked": "no",
    "note": "I top up the coolant about twice a year and cannot see where it goes."}
READ_THE_FAULT_MEMORY = ("Before any further driving and within 7 days: Have a workshop read what the car has "
                         "stored about the fault.")


class Shapes(unittest.TestCase):
    def agree(self, page, answers, page_text, *options):
        """Page, text form and terminal give the same records."""
        expected = of_page(page_text)
        blank = run("form", "blank", *options)
        filled = as_text_form(page, answers, blank)
        self.assertEqual(objects(run("form", "read", text=filled)), expected)
        self.assertEqual(objects(run("form", "read", text=page_text)), expected)
        self.assertEqual(by_terminal(page, answers, *options), expected)

    def test_an_owner_on_a_phone(self):
        with Page() as page:
            page.press("start")
            page.answer(OWNER)
            self.assertTrue(page.shows("summary"))
            name, text = page.save()
            self.assertEqual(name, "dryshaft-HL-0111.json")
            self.assertEqual(text, page.record())
            self.agree(page, OWNER, text)
            self.assertEqual(page.faults(), [])
        with open("examples/owner-no-port-check.json", encoding="utf-8") as file:
            by_hand = json.load(file)
        saved = json.loads(text)
        self.assertEqual(saved["inspection"]["coolant"].pop("loss_ml_per_1000km"), 65)
        self.assertEqual(by_hand["inspection"]["coolant"].pop("loss_ml_per_1000km"), 35)
        self.assertEqual(saved, by_hand)
        path = os.path.join(scratch.name, name)
        with open(path, "w", encoding="utf-8") as file:
            file.write(text)
        grades = [json.loads(run("assess", "--format", "json", one))
                  for one in (path, "examples/owner-no-port-check.json")]
        for member in ("grade", "risk", "floors", "actions", "cautions"):
            self.assertEqual(grades[0][member], grades[1][member], member)

    def test_a_buyer_at_a_desk(self):
        answers = {"unit-id": "HL-0112", "date": "2026-03-19", "odometer": ("97500", "km"),
                   "noise-present": "yes", "noise-onset": "always", "noise-level": "clear",
                   "noise-when": ["accelerating", "steady", "coasting"],
                   "faults-isolation": "none", "port-checked": "no"}
        with Page("--buying", size=DESK) as page:
            for key in ("unit-fitted-odometer", "unit-seal-renewed-odometer", "noise-onset-odometer",
                        "coolant-loss", "faults-shutdown"):
                self.assertNotIn(key, page.by_key)
            page.press("start")
            page.answer(answers)
            self.agree(page, answers, page.save()[1], "--buying")
            self.assertEqual(page.faults(), [])

    def test_random_answers(self):
        draw = random.Random(20260318)
        two = one = 0
        with Page(size=DESK) as page:
            for walk in range(18):
                answers = random_answers(page, draw)
                if walk < 2:  # by hand
                    page.keep(NOTHING)
                    page.press("start")
                    page.answer(answers)
                else:  # as if filled before, then reloaded
                    page.keep({"answers": {
                        k: {"words": a if isinstance(a, list) else
                            [a[0].replace(",", "")] if isinstance(a, tuple) else [a],
                            "unit": a[1] if isinstance(a, tuple) else "km"}
                        for k, a in answers.items()}, "at": len(page.questions), "unit": ""})
                text = page.record()
                self.agree(page, answers, text)
                two += len(of_page(text)) == 2
                one += len(of_page(text)) == 1
        self.assertGreater(min(one, two), 2)


class Behaviour(unittest.TestCase):
    def test_nothing_is_lost_on_reload(self):
        with Page() as page:
            page.press("start")
            page.answer(OWNER, until="odometer")
            page.at("answer").send_keys("109")
            page.open()
            self.assertEqual(page.question()["key"], "odometer")
            self.assertEqual(page.at("answer").get_property("value"), "109")
            page.answer(OWNER, until="noise-level")
            page.give(page.by_key["noise-level"], "faint")
            page.open()
            self.assertTrue(page.browser.find_element(By.CSS_SELECTOR, 'input[value="faint"]').is_selected())
            page.answer(OWNER)
            before = page.record()
            page.open()
            self.assertTrue(page.shows("summary"))
            self.assertEqual(page.record(), before)

    def test_another_visit_finds_what_was_kept(self):
        with Page() as page:
            page.press("start")
            page.answer(OWNER, until="odometer")
            page.browser.switch_to.new_window("tab")
            page.open()
            self.assertEqual(page.question()["key"], "odometer")
            page.answer(OWNER)
            before = page.record()
            page.browser.switch_to.new_window("tab")
            page.open()
            self.assertEqual(page.record(), before)

    def test_a_browser_that_loses_sight_of_earlier_visits(self):
        with Page(before="const get = Storage.prototype.getItem;"
                         "Storage.prototype.getItem = function (key) {"
                         "  return this === localStorage ? null : get.call(this, key); };") as page:
            page.press("start")
            page.answer(OWNER, until="odometer")
            page.open()
            self.assertEqual(page.question()["key"], "odometer")

    def test_a_page_that_is_only_looked_at_changes_nothing(self):
        with Page() as page:
            for storage in ("sessionStorage", "localStorage"):
                self.assertIsNone(page.kept(storage), storage)

    def test_back_skip_and_change(self):
        with Page() as page:
            page.press("start")
            page.answer({"noise-present": "yes"}, until="noise-level")
            page.press("back")
            self.assertEqual(page.question()["key"], "noise-pitch-follows-speed")
            for _ in range(3):
                page.press("back")
            self.assertEqual(page.question()["key"], "noise-present")
            page.give(page.by_key["noise-present"], "no")
            page.press("next")
            self.assertEqual(page.question()["key"], "faults-isolation")
            page.answer({})
            self.assertEqual(of_page(page.record())[0]["inspection"]["noise"], {"present": False})
            page.change("odometer")
            self.assertEqual(page.at("next").text, "Done")
            page.give(page.by_key["odometer"], ("68,000", "mi"))
            page.press("next")
            self.assertTrue(page.shows("summary"))
            self.assertEqual(of_page(page.record())[0]["inspection"]["odometer_mi"], 68000)
            page.press("last")
            self.assertEqual(page.question()["key"], "note")

    def test_wrong_answers_are_told(self):
        with Page() as page:
            page.press("start")
            lies_after = "This lies after your answer to \"{}\": {}. One of the two is wrong.".format
            ahead = "By the clock of this device that day has not come yet."
            for key, answer, problem in (
                    ("unit-built", "05/2017", "Write a year, or year and month, such as 2017 or 2017-05."),
                    ("unit-built", "2131", ahead),
                    ("unit-built", "2131-01", ahead),
                    ("date", "2131-01-01", ahead),
                    ("date", "2016-12-31", "This lies before your answer to \"When was the car built?\": "
                     "2017. One of the two is wrong."),
                    ("odometer", "lots", "Write a number from 0 to 2000000."),
                    ("odometer", "-5", "Write a number from 0 to 2000000."),
                    ("odometer", "2000001", "Write a number from 0 to 2000000."),
                    ("odometer", "1242743", "Write a number from 0 to 1242742."),  # miles
                    ("odometer", "109000", "Choose km or miles."),
                    ("odometer", ("400", "km"), "This lies before your answer to \"Was the drive unit ever "
                     "replaced? What did the odometer say then?\": 500 km. One of the two is wrong."),
                    ("noise-onset-odometer", ("900000", "km"),
                     lies_after("What does the odometer say?", "109000 km")),
                    ("check-date", "2026-03-19", lies_after("Which day is it today?", TODAY)),
                    ("check-odometer", ("68000", "mi"),
                     lies_after("What does the odometer say?", "109000 km"))):
                page.answer({"unit-id": "HL-0147", "unit-built": "2017", "unit-fitted-odometer": ("500", "km"),
                             "date": TODAY, "odometer": ("109,000", "km"), "noise-present": "yes",
                             "noise-onset": "gradual", "port-checked": "yes", "check-date": TODAY}, until=key)
                page.give(page.by_key[key], answer)
                if isinstance(answer, tuple):
                    pass
                elif key == "odometer" and "109" not in answer:
                    Select(page.at("unit")).select_by_value("mi" if answer == "1242743" else "km")
                elif key == "odometer":
                    Select(page.at("unit")).select_by_value("")
                page.press("next")
                self.assertEqual((page.question()["key"], page.at("problem").text), (key, problem))
            page.press("skip")
            page.answer({})
            # A day of the check that later turns out to lie after today: both are named, and each can
            # be put right.
            page.change("date")
            page.give(page.by_key["date"], "2026-03-01")
            page.press("next")
            self.assertTrue(page.shows("unfinished"))
            self.assertFalse(page.shows("finished"))
            self.assertEqual(
                [p.text for p in page.browser.find_elements(By.CSS_SELECTOR, "#answers .problem")],
                ["This lies before your answer to \"On which day was the port checked?\": 2026-03-18. "
                 "One of the two is wrong.", lies_after("Which day is it today?", "2026-03-01")])
            page.change("check-date")
            page.give(page.by_key["check-date"], "2026-02-28")
            page.press("next")
            self.assertFalse(page.shows("unfinished"))
            self.assertTrue(page.shows("finished"))

    def test_nothing_that_is_typed_runs(self):
        with Page() as page:
            for attack in ATTACKS:
                page.keep(NOTHING)
                page.press("start")
                page.answer({"unit-id": attack[:64]}, until="unit-built")
                state = json.loads(page.kept())  # the rest as if filled before
                state["at"] = page.questions.index(page.by_key["note"])
                state["answers"]["date"] = {"words": [TODAY]}
                page.keep(state)
                page.answer({"note": attack + "\n" + attack})
                record = of_page(page.record())[0]
                self.assertEqual(record["unit"]["id"], attack[:64])
                self.assertEqual(record["note"], attack + "\n" + attack)
                page.open()
                self.assertIsNone(page.script("return window.ran || null"))
                self.assertEqual(page.script(
                    "return document.querySelectorAll('img, iframe, [onload], [onerror], [onfocus]').length"), 0)
                self.assertEqual(objects(run("form", "read", text=page.record())), [record])
            self.assertEqual(page.faults(), [])

    def test_an_answer_that_means_danger_says_so_at_once(self):
        with Page() as page:
            page.press("start")
            page.answer({}, until="faults-isolation")
            page.give(page.by_key["faults-isolation"], "none")
            self.assertEqual(page.said(), [])
            page.give(page.by_key["faults-isolation"], "active")
            self.assertEqual(page.said("warning"), [DO_NOT_DRIVE])
            self.assertEqual(page.said("stop"), [])
            page.press("next")
            while page.question():  # above every question from now on
                self.assertEqual(page.said("stop"), [DO_NOT_DRIVE])
                self.assertEqual(page.said("warning"), [])
                page.press("skip")
            self.assertEqual(page.said("warnings"), [DO_NOT_DRIVE])

    def test_answers_that_together_mean_danger_say_so_at_once(self):
        with Page() as page:
            page.press("start")
            page.answer({}, until="faults-isolation")
            page.give(page.by_key["faults-isolation"], "stored")
            self.assertEqual(page.said("warning"), [MEASURE])
            page.press("next")
            self.assertEqual(page.said("stop"), [MEASURE])
            page.answer({"faults-shutdown": "yes", "port-checked": "yes"}, until="port-fluid")
            page.give(page.by_key["port-fluid"], "film")
            self.assertEqual((page.said("stop"), page.said("warning")), ([], [DO_NOT_DRIVE]))
            page.press("next")
            self.assertEqual(page.said("stop"), [DO_NOT_DRIVE])
            page.answer({"port-fluid-kind": "coolant", "port-corrosion": "heavy"})
            self.assertEqual(page.said("warnings"), [DO_NOT_DRIVE])
            page.open()
            self.assertEqual(page.said("warnings"), [DO_NOT_DRIVE])
            # What an answer takes away is no longer said.
            page.change("faults-isolation")
            page.give(page.by_key["faults-isolation"], "none")
            self.assertEqual(page.said("stop"), [DO_NOT_DRIVE])  # coolant and heavy rust
            page.press("next")
            page.change("port-corrosion")
            page.give(page.by_key["port-corrosion"], "none")
            self.assertEqual(page.said(), [READ_THE_FAULT_MEMORY])  # the shutdown alone is left
            page.press("next")
            self.assertEqual(page.said("warnings"), [READ_THE_FAULT_MEMORY])

    def test_the_page_stops_where_the_program_does(self):
        """The same random answers in the browser and at the terminal, to the last answer."""
        draw = random.Random(7)
        stopped = 0
        with Page(size=DESK) as page:
            for _ in range(40):
                answers = {"unit-id": "HL-0147", "date": TODAY}
                for key, words in (("faults-isolation", ["none", "stored", "active"]),
                                   ("noise-present", ["no", "yes"]), ("port-checked", ["yes"]),
                                   ("port-fluid", ["none", "film", "droplets", "pooled"]),
                                   ("port-fluid-kind", ["coolant", "gear-oil", "emulsion", "water"]),
                                   ("port-glycol-percent", ["0", "35"]),
                                   ("port-corrosion", ["none", "light", "heavy"])):
                    if applies(page, answers, page.by_key[key]) and draw.random() < 0.8:
                        answers[key] = draw.choice(words)
                page.keep({"answers": {k: {"words": [a]} for k, a in answers.items()},
                           "at": len(page.questions), "unit": ""})
                typed = run("form", "ask", "--today", TODAY, text=as_typed(page, answers))
                said = page.said("warnings")
                report = re.sub(r"\s+", " ", typed[typed.rindex("\nGrade "):])
                self.assertEqual(DO_NOT_DRIVE in said, " Grade D " in report, (answers, said))
                self.assertEqual(bool(said), "before any further driving" in report.lower(), (answers, said))
                stopped += bool(said)
        self.assertGreater(stopped, 10)

    def test_a_changed_answer_asks_the_questions_that_now_apply(self):
        with Page() as page:
            page.press("start")
            page.answer({"odometer": ("109,000", "km"), "noise-present": "no", "port-checked": "no"})
            page.change("port-checked")
            page.give(page.by_key["port-checked"], "yes")
            self.assertEqual(page.at("next").text, "Next")
            page.press("next")
            self.assertEqual(page.question()["key"], "check-date")
            page.answer({"check-date": TODAY}, until="port-fluid")
            page.open()  # a reload on the way changes nothing
            self.assertEqual(page.question()["key"], "port-fluid")
            page.answer({"port-fluid": "pooled"}, until="port-glycol-percent")
            page.answer({"port-glycol-percent": "35", "unit-rotor-cooling": "bypassed",
                         "unit-bypass-keeps-crossover": "yes"})
            self.assertTrue(page.shows("summary"))
            record = of_page(page.record())[0]
            self.assertEqual(record["inspection"]["port"],
                             {"checked": True, "fluid": "pooled", "glycol_percent": 35})
            self.assertEqual(record["unit"]["bypass_keeps_crossover"], True)
            # Nothing new applies: back at once, and what was answered is not asked again.
            page.change("port-checked")
            self.assertEqual(page.at("next").text, "Done")
            page.press("next")
            self.assertTrue(page.shows("summary"))
            page.change("noise-present")
            page.give(page.by_key["noise-present"], "yes")
            page.press("next")
            self.assertEqual(page.question()["key"], "noise-onset")
            page.give(page.by_key["noise-onset"], "sudden")
            page.press("next")
            page.give(page.by_key["noise-onset-odometer"], ("900,000", "km"))
            page.press("next")
            self.assertEqual(page.at("problem").text, "This lies after your answer to \"What does the odometer "
                             "say?\": 109000 km. One of the two is wrong.")
            page.give(page.by_key["noise-onset-odometer"], ("90,000", "km"))
            page.press("next")
            for key in ("noise-when", "noise-pitch-follows-speed", "noise-level"):
                self.assertEqual(page.question()["key"], key)
                page.press("skip")
            self.assertEqual(page.at("next").text, "Done")
            page.press("skip")
            self.assertTrue(page.shows("summary"))

    def test_the_phones_back_loses_no_answer(self):
        with Page() as page:
            page.browser.get("about:blank")
            page.open()
            page.press("start")
            page.answer(OWNER, until="noise-level")
            page.give(page.by_key["noise-level"], "faint")
            page.browser.back()
            self.assertEqual(page.browser.current_url, "about:blank")
            page.browser.forward()
            self.assertEqual(page.question()["key"], "noise-level")
            page.answer(OWNER)
            self.assertEqual(of_page(page.record())[0]["inspection"]["noise"]["level"], "faint")

    def test_no_name_is_filled_in_and_a_drawn_one_is_the_cars_own(self):
        names = set()
        for _ in range(2):  # two owners who only press Next
            with Page() as page:
                page.press("start")
                self.assertEqual(page.at("answer").get_property("value"), "")
                while page.question():
                    page.press("next")
                record = of_page(page.record())[0]
                name = record["unit"]["id"]
                self.assertRegex(name, r"\Acar-[2-9a-z]{5}-[2-9a-z]{5}\Z")
                self.assertIn(name, page.at("answers").text)
                self.assertEqual(page.save()[0], f"dryshaft-{name}.json")
                page.change("unit-id")  # the same car keeps it
                page.press("next")
                self.assertEqual(of_page(page.record())[0], record)
                names.add(name)
        self.assertEqual(len(names), 2)

    def test_what_was_done_is_said_and_the_text_is_always_there(self):
        with Page() as page:
            page.press("start")
            page.answer(OWNER)
            page.browser.execute_cdp_cmd("Browser.setDownloadBehavior", {"behavior": "deny"})
            page.press("save")
            self.assertEqual(page.at("saved").text,
                             "The file dryshaft-HL-0111.json was given to your browser. Look in your downloads; "
                             "if it is not there, copy the text below.")
            self.assertEqual(os.listdir(page.downloads), [])
            self.assertTrue(page.shows("record"))
            self.assertEqual(json.loads(page.record())["unit"]["id"], "HL-0111")

    def test_start_again_asks_first(self):
        with Page() as page:
            page.press("start")
            page.answer(OWNER, until="odometer")
            page.press("again")
            page.press("stay")
            self.assertEqual(page.question()["key"], "odometer")
            page.press("again")
            page.press("wipe")
            self.assertTrue(page.shows("intro"))
            for storage in ("sessionStorage", "localStorage"):
                self.assertIsNone(page.kept(storage), storage)
            page.press("start")
            self.assertEqual(page.at("answer").get_property("value"), "")

    def test_a_browser_that_keeps_nothing(self):
        refuse = "for (const f of ['getItem', 'setItem', 'removeItem']) " \
                 "Storage.prototype[f] = () => { throw new Error('refused'); };"
        with Page(before=refuse) as page:
            self.assertTrue(page.shows("trouble"))
            page.press("start")
            page.answer(OWNER)
            self.assertEqual(of_page(page.record())[0]["unit"]["id"], "HL-0111")

    def test_without_scripting(self):
        with Page() as page:
            page.browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
            page.open()
            text = page.browser.find_element(By.TAG_NAME, "main").text
            self.assertIn("dryshaft form blank", text)
            self.assertNotIn("Start", text)

    def test_by_keyboard_alone(self):
        def focus():
            return page.script("return document.activeElement.id")

        def keys(*presses):
            page.browser.switch_to.active_element.send_keys(*presses)

        with Page(size=DESK) as page:
            page.script("document.getElementById('start').focus()")
            keys(Keys.ENTER)
            self.assertEqual(focus(), "question")
            keys(Keys.TAB)
            self.assertEqual(focus(), "answer")
            keys(Keys.ENTER)  # no name: one is drawn
            self.assertEqual(page.question()["key"], "unit-vehicle")
            self.assertEqual(focus(), "question")
            keys(Keys.TAB)
            keys(Keys.SPACE)
            keys(Keys.ARROW_DOWN)
            keys(Keys.ENTER)
            self.assertEqual(page.question()["key"], "unit-built")
            for _ in range(8):
                if focus() == "back":
                    break
                keys(Keys.TAB)
            keys(Keys.ENTER)
            chosen = page.browser.find_element(By.CSS_SELECTOR, "input:checked")
            self.assertEqual(chosen.get_property("value"), page.by_key["unit-vehicle"]["choices"][1]["word"])

    def test_it_loads_nothing(self):
        with Page() as page:
            self.assertEqual(page.script("return performance.getEntriesByType('resource').length"), 0)
            markup = re.sub(r"(?s)<script.*?</script>", "", page.html)
            self.assertEqual(re.findall(r'(?i)(?:src|href)\s*=|@import|url\(|\son[a-z]+\s*=\s*"', markup), [])
            self.assertEqual(page.faults(), [])


class Looks(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.axe = axe_source(PROGRAM)

    def check(self, page, where):
        self.assertEqual(violations(page.browser, self.axe), [], where)
        self.assertLessEqual(page.script("return document.documentElement.scrollWidth"),
                             page.script("return innerWidth"), where)

    def walk(self, page):
        answers = {"noise-present": "yes", "noise-onset": "sudden", "port-checked": "yes",
                   "port-fluid": "pooled", "unit-rotor-cooling": "bypassed"}
        self.check(page, "intro")
        page.press("start")
        seen = set()
        while q := page.question():
            seen.add(q["key"])
            self.check(page, q["key"])
            if q["key"] == "odometer":
                page.at("answer").send_keys("lots")
                page.press("next")
                self.check(page, "a problem")
                page.at("answer").clear()
            page.answer({k: a for k, a in answers.items() if k == q["key"]} or {q["key"]: None}
                        if q["key"] in answers else {}, until=self.following(page, q, answers))
        self.assertEqual(seen, set(page.by_key))
        self.check(page, "summary")
        page.press("again")
        self.check(page, "sure")
        page.press("stay")

    @staticmethod
    def following(page, question, answers):
        rest = page.questions[page.questions.index(question) + 1:]
        return next((q["key"] for q in rest if applies(page, answers, q)), None)

    def test_rules_of_accessibility_on_a_phone(self):
        with Page() as page:
            self.walk(page)

    def test_rules_of_accessibility_at_a_desk_in_the_dark(self):
        with Page(size=DESK, dark=True) as page:
            self.walk(page)

    def test_it_prints(self):
        with Page(size=DESK) as page:
            page.press("start")
            page.answer(OWNER)
            pdf = base64.b64decode(page.browser.print_page())
            self.assertTrue(pdf.startswith(b"%PDF"))
            self.assertGreater(len(pdf), 5000)


if __name__ == "__main__":
    unittest.main()

"""Reports as pages, in a real browser: read on a phone and at a desk, sorted, filtered, opened.

Usage: report_page_test.py PROGRAM

See browser.py for what it needs.
"""
import base64
import json
import math
import os
import random
import re
import struct
import subprocess
import sys
import tempfile
import unittest
import wave
import zlib

from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from browser import ATTACKS, DESK, PHONE, axe_source, faults, start, violations

PROGRAM = os.path.abspath(sys.argv.pop(1))
scratch = tempfile.TemporaryDirectory()


def page(name, *arguments, records=None):
    """The path of a page that the program wrote."""
    path = os.path.join(scratch.name, name + ".html")
    done = subprocess.run([PROGRAM, *arguments, "--format", "html", "--out", path],
                          input=records, capture_output=True, check=False)
    assert done.returncode == 0, (arguments, done.returncode, done.stderr.decode())
    return "file://" + path


def recording(name):
    """The path of a sound file: noise, and the gear mesh of plover-2 at 4500 turns a minute."""
    path = os.path.join(scratch.name, name)
    draw = random.Random(5)
    samples = [round(2000 * draw.gauss(0, 1) + 3000 * math.sin(2 * math.pi * 29 * 75 * i / 12000))
               for i in range(12 * 12000)]
    with wave.open(path, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(12000)
        file.writeframes(struct.pack(f"<{len(samples)}h", *samples))
    return path


def photograph(width, height):
    """A picture of one colour, larger than a phone's screen."""
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
    rows = b"".join(b"\0" + b"\x80" * width for _ in range(height))
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)) +
            chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b""))


class Shown(unittest.TestCase):
    """Each page on a phone and at a desk, light and dark."""

    @classmethod
    def setUpClass(cls):
        cls.axe = axe_source(PROGRAM)
        with open("examples/intake.jsonl", "rb") as file:
            intake = file.readlines()[:40]
        with_photo = json.dumps({
            "format": "dryshaft-record/1", "unit": {"id": "HL-0147"},
            "inspection": {"date": "2026-03-02", "port": {"checked": True, "fluid": "film"},
                           "photos": ["data:image/png;base64," + base64.b64encode(photograph(900, 1600)).decode()]},
        }).encode()
        cls.pages = {
            "history": page("history", "assess", "examples/history.json"),
            "worst": page("worst", "assess", "examples/isolation-fault-active.json"),
            "owner": page("owner", "assess", "--for", "owner", "examples/film-caught-early.json"),
            "yard": page("few", "assess", records=b"".join(intake)),
            "full": page("full", "assess", "--full", "examples/history.json",
                         "examples/seized.json", "examples/miles.json"),
            "photos": page("photos", "assess", records=with_photo),
            "port": page("port", "assess", "--for", "owner", "examples/owner-no-port-check.json"),
            "life": page("life", "assess", "--for", "owner", "examples/history.json"),
            "guide-floor": page("guide-floor", "guide", "--family", "plover-2", "--vehicle", "Corrie"),
            "guide-owner": page("guide-owner", "guide", "--for", "owner"),
            "guide": page("guide", "guide", "--family", "plover-2", "--vehicle", "Tarn"),
            "outcomes": page("outcomes", "fit", "outcomes", "examples/teardowns.jsonl"),
            "no-outcomes": page("no-outcomes", "fit", "outcomes", "examples/miles.json"),
            "recording": page("recording", "listen", recording("one.wav"), "--family", "plover-2",
                              "--rotor-rpm", "4500", "--load", "0:01-0:06=steady"),
            "recordings": page("recordings", "listen", recording("two.wav"), recording("three.wav"),
                               "--rotor-rpm", "4500", "--bearing", "11:6.2:43.5:0"),
        }

    def look(self, size, dark):
        browser = start(size, dark)
        try:
            for name, address in self.pages.items():
                with self.subTest(page=name, size=size, dark=dark):
                    browser.get(address)
                    browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
                    self.assertEqual(violations(browser, self.axe), [])
                    self.assertEqual(browser.execute_script(
                        "return [...document.images].filter(i => !i.complete || !i.naturalWidth).length"), 0)
                    self.assertLessEqual(
                        browser.execute_script("return document.documentElement.scrollWidth"),
                        size[0])
                    self.assertEqual(faults(browser), [])
                    self.assertEqual(browser.execute_script(
                        "return performance.getEntriesByType('resource').length"), 0)
        finally:
            browser.quit()

    def test_phone(self):
        self.look(PHONE, dark=False)

    def test_phone_dark(self):
        self.look(PHONE, dark=True)

    def test_desk(self):
        self.look(DESK, dark=False)

    def test_desk_dark(self):
        self.look(DESK, dark=True)

    def test_grade_and_first_action_stand_above_the_fold(self):
        browser = start(PHONE)
        try:
            for name in ("history", "worst", "owner"):
                browser.get(self.pages[name])
                for part in (".band", ".grade"):
                    below = browser.find_element(By.CSS_SELECTOR, part).rect
                    with self.subTest(page=name, part=part):
                        self.assertLess(below["y"] + below["height"], PHONE[1])
                band, grade = (browser.find_element(By.CSS_SELECTOR, part).rect["y"]
                               for part in (".band", ".grade"))
                self.assertLess(band, grade)
        finally:
            browser.quit()

    def test_what_stands_behind_the_screen_opens(self):
        browser = start(PHONE)
        try:
            browser.get(self.pages["history"])
            causes = browser.find_element(By.XPATH, "//details[summary/h2='Causes']")
            self.assertFalse(causes.find_element(By.CSS_SELECTOR, ".cause").is_displayed())
            causes.find_element(By.TAG_NAME, "summary").click()
            self.assertTrue(causes.find_element(By.CSS_SELECTOR, ".cause").is_displayed())
        finally:
            browser.quit()

    def test_prints_on_both_papers(self):
        browser = start(DESK)
        try:
            for name, most in {"history": 1, "worst": 1, "owner": 1, "port": 1, "full": 5, "recording": 4}.items():
                for wide, high in ((8.27, 11.69), (8.5, 11)):
                    browser.get(self.pages[name])
                    pdf = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", {
                        "paperWidth": wide, "paperHeight": high, "preferCSSPageSize": False,
                    })["data"])
                    pages = len(re.findall(rb"/Type\s*/Page\b", pdf))
                    with self.subTest(page=name, paper=(wide, high)):
                        self.assertTrue(1 <= pages <= most, pages)
        finally:
            browser.quit()


class Yard(unittest.TestCase):
    """The ranked table of many units."""

    @classmethod
    def setUpClass(cls):
        cls.browser = start(DESK)
        cls.address = page("yard", "assess", "examples/intake.jsonl")
        lines = subprocess.run([PROGRAM, "assess", "--format", "json", "examples/intake.jsonl"],
                               capture_output=True, check=True).stdout.decode().splitlines()
        cls.reports = [json.loads(line) for line in lines]

    @classmethod
    def tearDownClass(cls):
        cls.browser.quit()

    def setUp(self):
        self.browser.get("about:blank")
        self.browser.get(self.address)

    def ids(self):
        return self.browser.execute_script(
            "return [...document.querySelectorAll('#units tbody tr')]"
            ".filter((r) => !r.hidden).map((r) => r.cells[1].textContent)")

    def head(self, text):
        return next(h for h in self.browser.find_elements(By.CSS_SELECTOR, "#units thead th")
                    if h.text == text)

    def press(self, text):
        self.head(text).find_element(By.TAG_NAME, "button").click()
        return self.head(text).get_attribute("aria-sort")

    def test_order_of_the_ranking(self):
        self.assertEqual(self.ids(), [r["unit_id"] for r in self.reports])

    def test_sorts_both_ways_and_back(self):
        ranked = self.ids()
        self.assertEqual(self.press("unit"), "ascending")
        self.assertEqual(self.ids(), sorted(ranked))
        self.assertEqual(self.press("unit"), "descending")
        self.assertEqual(self.ids(), sorted(ranked, reverse=True))
        self.assertEqual(self.press("#"), "ascending")
        self.assertEqual(self.ids(), ranked)

    def test_sorts_grades_and_risks_by_what_they_mean(self):
        grade = {r["unit_id"]: r["grade"] for r in self.reports}
        risk = {r["unit_id"]: r["risk"] for r in self.reports}
        self.press("grade")
        self.assertEqual([grade[u] for u in self.ids()],
                         sorted(grade.values(), key="DCUBA".index))
        self.press("risk")
        # The table shows whole per cents.
        shown = [risk[u] for u in self.ids()]
        self.assertTrue(all(a <= b + 0.01 for a, b in zip(shown, shown[1:])), shown)
        self.assertGreater(shown[-1], shown[0] + 0.5)

    def test_filters_by_choice_and_word(self):
        labels = self.browser.find_elements(By.CSS_SELECTOR, ".tools label")
        by_name = {label.text.split("\n")[0]: label for label in labels}
        Select(by_name["grade"].find_element(By.TAG_NAME, "select")).select_by_value("U")
        wanted = [r["unit_id"] for r in self.reports if r["grade"] == "U"]
        self.assertEqual(self.ids(), wanted)
        self.assertEqual(self.browser.find_element(By.TAG_NAME, "output").text,
                         f"{len(wanted)} of {len(self.reports)} units")
        by_name["Find"].find_element(By.TAG_NAME, "input").send_keys(wanted[3].lower())
        self.assertEqual(self.ids(), [wanted[3]])

    def test_a_row_opens_its_report_and_back_leads_back(self):
        first, second = self.reports[0], self.reports[1]
        self.browser.find_element(By.LINK_TEXT, first["unit_id"]).click()
        view = self.browser.find_element(By.ID, "report")
        self.assertFalse(self.browser.find_element(By.ID, "list").is_displayed())
        self.assertTrue(view.find_element(By.TAG_NAME, "h1").text.startswith(first["unit_id"]))
        for action in first["actions"]:
            self.assertIn(action["title"], view.text.replace("\u00a0", " "))
        self.assertEqual(self.browser.execute_script("return document.activeElement.tagName"), "H1")
        self.browser.find_element(By.PARTIAL_LINK_TEXT, "Next: ").click()
        self.assertTrue(view.find_element(By.TAG_NAME, "h1").text.startswith(second["unit_id"]))
        self.assertTrue(self.browser.title.startswith(second["unit_id"]))
        self.browser.back()
        self.assertTrue(view.find_element(By.TAG_NAME, "h1").text.startswith(first["unit_id"]))
        self.browser.find_element(By.LINK_TEXT, "Back to the list").click()
        self.assertTrue(self.browser.find_element(By.ID, "list").is_displayed())
        self.assertFalse(view.is_displayed())
        self.assertEqual(self.browser.execute_script("return document.activeElement.textContent"),
                         first["unit_id"])

    def test_an_opened_report_breaks_no_rule_of_accessibility(self):
        self.browser.get(self.address + "#unit-1")
        self.assertEqual(violations(self.browser, axe_source(PROGRAM)), [])

    def test_two_thousand_units(self):
        with open("examples/intake.jsonl", encoding="utf-8") as file:
            lines = file.read().splitlines()
        records = []
        for copy in range(7):
            records += [line.replace('"id":"HL-', f'"id":"HL-{copy}') for line in lines]
        address = page("many", "assess", records="\n".join(records[:2000]).encode())
        self.browser.get(address)
        self.assertEqual(len(self.ids()), 2000)
        self.press("unit")
        self.assertEqual(self.ids(), sorted(self.ids()))
        self.browser.find_element(By.CSS_SELECTOR, ".tools input").send_keys("HL-60")
        self.assertEqual(len(self.ids()), 200)
        self.assertEqual(faults(self.browser), [])


class Hostile(unittest.TestCase):
    """Markup in any text of a record does nothing."""

    def test_nothing_runs(self):
        records = []
        for number, attack in enumerate(ATTACKS):
            for date in ("2025-03-01", "2026-03-01"):
                records.append(json.dumps({
                    "format": "dryshaft-record/1",
                    "unit": {"id": f"{number} {attack}"[:64]},
                    "inspection": {"date": date, "odometer_km": 90000, "x_shop": attack},
                    "note": attack}))
        lines = "\n".join(records).encode()
        yard = page("hostile", "assess", "--full", records=lines)
        one = page("hostile-one", "assess", records=records[0].encode())
        owner = page("hostile-owner", "assess", "--for", "owner", records=records[1].encode())
        browser = start(DESK)
        try:
            addresses = [one, owner, yard] + [f"{yard}#unit-{n}" for n in range(1, len(ATTACKS) + 1)]
            for address in addresses:
                browser.get("about:blank")
                browser.get(address)
                self.assertIsNone(browser.execute_script("return window.ran ?? null"))
                self.assertEqual(browser.execute_script(
                    "return document.querySelectorAll('img, iframe, body script ~ svg, [onload],"
                    " [onerror], [onfocus]').length"), 0)
                self.assertEqual(faults(browser), [])
            browser.get(one)
            self.assertIn(ATTACKS[0], browser.find_element(By.TAG_NAME, "main").text)
        finally:
            browser.quit()


if __name__ == "__main__":
    unittest.main()

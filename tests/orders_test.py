"""What is to be done, from the look that asks for it to the record that closes it.

Usage: orders_test.py PROGRAM
"""
import datetime
import json
import os
import re
import subprocess
import sys
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
DRY = {"checked": True, "fluid": "none", "dried_residue": False, "corrosion": "none", "debris": "none"}
FILM = {**DRY, "fluid": "film", "fluid_kind": "coolant"}
SOUND = {"resistance_mohm": 900, "test_voltage_v": 800, "winding_temp_c": 20}
FAMILY = "dunlin-1"


def record(day, km, port=None, work=None, unit=None, **inspection):
    r = {"format": "dryshaft-record/1", "unit": {"id": "HL-1", "rotor_cooling": "wet", **(unit or {})},
         "inspection": {"date": day, "odometer_km": km, **inspection}}
    if port is not None:
        r["inspection"]["port"] = port
    if work:
        r["work"] = [w if isinstance(w, dict) else {"did": w} for w in work]
    if unit == {}:
        del r["unit"]["rotor_cooling"]
    return r


def ran(*arguments, records=()):
    text = "".join(json.dumps(r) + "\n" for r in records)
    return subprocess.run([PROGRAM, *arguments], input=text, capture_output=True, check=False, text=True)


def report(records, *arguments):
    done = ran("assess", "-", "--format", "json", *arguments, records=records)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def asked(r):
    return [a["id"] for a in r["actions"]]


def due(r):
    return {d["action"]: (d["due_km"], d["due_date"], d["overdue"]) for d in r["due"]}


def given_back(records, option):
    """The record that a job sheet prints."""
    done = ran("plan", "-", "--job-sheet", option, records=records)
    assert done.returncode == 0, done.stderr
    sheet = done.stdout
    return re.search(r"\n(\{\n.*?\n?\})\n", sheet[sheet.index("Record to return"):], re.S)[1]


def filled(text, day, km):
    r = json.loads(text.replace("YYYY-MM-DD", day))
    r["inspection"]["odometer_km"] = km
    values = {"port": {**DRY, "fluid_kind": None, "glycol_percent": None}, "rotation": "free",
              "noise": {"present": False}, "faults": {"isolation": "none", "isolation_place": None},
              "insulation": SOUND}
    for member, value in values.items():
        if member in r["inspection"]:
            r["inspection"][member] = value
    for work in r.get("work", []):
        if "keeps_crossover" in work:
            work["keeps_crossover"] = True
    return r


WET = record("2026-01-10", 150_000, {**FILM, "corrosion": "light"}, noise={"present": False})
EARLY = record("2026-01-10", 150_000, FILM, noise={"present": False}, insulation=SOUND)
SEIZED = record("2026-01-10", 150_000, {**DRY, "fluid": "pooled", "fluid_kind": "coolant", "corrosion": "heavy"},
                rotation="seized", insulation={"resistance_mohm": 0.01, "test_voltage_v": 500})


class JobSheets(unittest.TestCase):
    """Record, report, sheet, its record filled in, a dry look: A."""

    def closes(self, first, option, *gone):
        self.assertTrue(set(gone) <= set(asked(report([first]))), asked(report([first])))
        text = given_back([first], option)
        done = filled(text, "2026-01-20", 150_000)
        after = report([first, done])
        self.assertFalse(set(gone) & set(asked(after)), asked(after))
        later = report([first, done, record("2026-03-20", 152_000, DRY, unit={}, noise={"present": False})])
        self.assertEqual((later["grade"], later["floors"]), ("A", []), later["headline"])
        self.assertEqual(set(asked(later)), {"recheck", "no-action"})

    def test_a_bypass(self):
        self.closes(record("2026-01-10", 60_000 + 90_000, {**DRY}, noise={"present": False}, insulation=SOUND),
                    "bypass-rotor-circuit")

    def test_a_rebuild(self):
        self.closes(WET, "open-and-rebuild", "open-and-rebuild", "renew-gear-bearings", "measure-insulation")

    def test_a_rebuild_with_a_bypass(self):
        self.closes(WET, "open-and-rebuild+bypass-rotor-circuit", "open-and-rebuild", "renew-gear-bearings")

    def test_major_parts(self):
        self.closes(SEIZED, "replace-major-parts", "open-and-rebuild", "replace-major-parts", "stop-driving")

    def test_what_was_found_at_the_opening_has_been_dealt_with(self):
        done = filled(given_back([SEIZED], "replace-major-parts"), "2026-01-20", 150_000)
        for cause in done["teardown"]:
            if cause not in ("date", "outside-noise"):
                done["teardown"][cause] = "present"
        later = report([SEIZED, done, record("2026-03-20", 152_000, DRY, unit={}, noise={"present": False})])
        self.assertEqual((later["grade"], later["floors"]), ("A", []), later["headline"])

    def test_a_port_check(self):
        first = record("2026-01-10", 150_000)
        self.assertIn("check-port", asked(report([first])))
        done = filled(given_back([first], "check-port"), "2026-01-12", 150_010)
        self.assertEqual(set(asked(report([first, done]))), {"recheck", "no-action"})

    def test_an_early_leak_that_was_bypassed_is_watched(self):
        done = filled(given_back([EARLY], "bypass-rotor-circuit"), "2026-01-20", 150_000)
        after = report([EARLY, done, record("2026-03-20", 152_000, DRY, unit={}, noise={"present": False})])
        self.assertEqual(after["grade"], "B")  # nobody has seen the bearings
        self.assertNotIn("bypass-rotor-circuit", asked(after))

    def test_an_empty_sheet_tells_of_no_work(self):
        text = given_back([WET], "open-and-rebuild")
        done = subprocess.run([PROGRAM, "assess", "-"], input=text, capture_output=True, check=False, text=True)
        self.assertEqual(done.returncode, 3)
        self.assertIn('/inspection/date is "YYYY-MM-DD"', done.stderr)

    def test_half_the_work_leaves_the_other_half_due(self):
        done = filled(given_back([WET], "open-and-rebuild"), "2026-01-20", 150_000)
        done["work"] = [w for w in done["work"] if w["did"] == "seal-renewed"]
        del done["teardown"]
        later = report([WET, done, record("2026-01-25", 150_100, DRY, unit={}, noise={"present": False})])
        self.assertEqual(due(later)["open-and-rebuild"], (151_500, "2026-02-09", False))
        rebuild = later["actions"][asked(later).index("open-and-rebuild")]
        self.assertTrue(rebuild["because"].startswith(
            'Begun and not finished: on record is "rotor shaft seal replaced", not on record "rotor bearings replaced". '),
            rebuild["because"])
        self.assertEqual((rebuild["within_km"], rebuild["within_days"], rebuild["asked"]), (1_400, 15, "2026-01-10"))


class Closing(unittest.TestCase):
    def test_every_action_names_what_closes_it(self):
        with open("data/rules/actions.json", encoding="utf-8") as file:
            for action in json.load(file)["actions"]:
                self.assertTrue(action["closed_by"].get("work") or action["closed_by"].get("look"), action["id"])

    def test_a_dropped_crossover_pipe_until_it_was_bled(self):
        unit = {"rotor_cooling": "bypassed", "bypass_keeps_crossover": False}
        looks = [record("2026-01-10", 100_000, DRY, unit=unit), record("2026-03-10", 102_000, DRY, unit={})]
        self.assertEqual(due(report(looks))["bleed-cooling"], (100_500, "2026-01-24", True))
        looks[1]["work"] = [{"did": "cooling-bled", "date": "2026-01-12"}]
        self.assertNotIn("bleed-cooling", asked(report(looks)))

    def test_a_fault_repaired_elsewhere(self):
        first = record("2026-01-10", 60_000, DRY, faults={"isolation": "stored"}, insulation=SOUND)
        self.assertEqual(asked(report([first]))[0], "find-isolation-fault")
        found = record("2026-01-12", 60_010, unit={}, faults={"isolation_place": "elsewhere"})
        self.assertEqual((report([first, found])["grade"], asked(report([first, found]))[0]), ("B", "repair-elsewhere"))
        done = record("2026-01-20", 60_020, DRY, unit={}, faults={"isolation": "none"}, insulation=SOUND,
                      work=["fault-repaired-elsewhere"])
        after = report([first, found, done])
        self.assertEqual((after["grade"], after["floors"]), ("A", []))
        self.assertEqual(set(asked(after)), {"recheck", "no-action"})

    def test_a_noise_that_was_a_wheel_bearing(self):
        noise = {"present": True, "changes_with_steering_or_surface": True}
        first = record("2026-01-10", 60_000, DRY, noise=noise)
        self.assertIn("check-wheels", asked(report([first])))
        told = record("2026-01-20", 60_100, unit={}, work=["noise-repaired-elsewhere"])
        self.assertNotIn("check-wheels", asked(report([first, told])))
        quiet = record("2026-01-21", 60_100, DRY, unit={}, noise={"present": False})
        self.assertEqual(report([first, told, quiet])["grade"], "A")

    def test_a_coolant_leak_outside(self):
        first = record("2026-01-10", 60_000, DRY, coolant={"outside_leak_seen": True})
        self.assertIn("mend-coolant-leak", asked(report([first])))
        told = record("2026-01-20", 60_100, DRY, unit={}, work=["coolant-leak-repaired"])
        self.assertNotIn("mend-coolant-leak", asked(report([first, told])))

    def test_nothing_but_the_record_closes_it(self):
        later = record("2026-02-20", 150_600, unit={})
        self.assertEqual(due(report([WET, later]))["open-and-rebuild"], (151_500, "2026-02-09", True))


class Deciding(unittest.TestCase):
    """The cheap look that decides between two ways comes first."""

    def first(self, *records):
        r = report(list(records))
        return r["actions"][0]["id"], r["grade"]

    def test_what_drags(self):
        for rotation, grade in (("stiff", "C"), ("seized", "D")):
            r = report([record("2026-01-10", 60_000, DRY, rotation=rotation)])
            self.assertEqual(r["grade"], grade)
            order = [a for a in asked(r) if a in ("check-drag", "open-and-rebuild")]
            self.assertEqual(order, ["check-drag", "open-and-rebuild"])
        risk = [report([record("2026-01-10", 60_000, DRY, rotation="seized", **k)])["risk"]
                for k in ({"drag_elsewhere": True}, {}, {"drag_elsewhere": False})]
        self.assertEqual(risk, sorted(risk))
        self.assertEqual(self.first(record("2026-01-10", 60_000, DRY, rotation="stiff", drag_elsewhere=True)),
                         ("repair-elsewhere", "B"))

    def test_bypass_or_rebuild(self):
        for look, first in (({"noise": {"present": False}}, "measure-insulation"),
                            ({"insulation": SOUND}, "road-test")):
            r = report([record("2026-01-10", 150_000, FILM, **look)])
            self.assertEqual(r["actions"][0]["id"], first)
            self.assertTrue(r["actions"][0]["because"].startswith("It decides: "))
        unwritten = {"checked": True, "fluid": "film", "fluid_kind": "coolant"}
        self.assertEqual(self.first(record("2026-01-10", 150_000, unwritten, noise={"present": False},
                                           insulation=SOUND)), ("check-port", "C"))

    def test_ways_that_exclude_each_other_are_one(self):
        for port in (FILM, {**FILM, "corrosion": "light"}, {"checked": True, "fluid": "film", "fluid_kind": "coolant"}):
            ways = {"bypass-rotor-circuit", "open-and-rebuild"} & set(asked(report(
                [record("2026-01-10", 150_000, port, noise={"present": False})])))
            self.assertEqual(len(ways), 1, port)

    def test_a_kind_that_the_refractometer_denies(self):
        port = {**FILM, "fluid_kind": "gear-oil", "glycol_percent": 30}
        self.assertEqual(self.first(record("2026-01-10", 150_000, port, noise={"present": False})),
                         ("identify-fluid", "C"))

    def test_coolant_where_a_bypass_is_on_file(self):
        self.assertEqual(self.first(record("2026-01-10", 150_000, FILM, unit={"rotor_cooling": "bypassed"})),
                         ("check-bypass", "C"))

    def test_a_shutdown_until_it_has_been_looked_into(self):
        grades = [report([record("2026-01-10", 60_000, DRY, faults={"shutdown": True, **read}, **ins)])["grade"]
                  for read in ({}, {"codes_read": True}) for ins in ({}, {"insulation": SOUND})]
        self.assertEqual(grades, ["C", "C", "C", "B"])
        self.assertEqual(self.first(record("2026-01-10", 60_000, DRY, faults={"shutdown": True}))[0],
                         "read-fault-memory")

    def test_gear_oil_is_its_own_matter(self):
        r = report([record("2026-01-10", 150_000, {**DRY, "fluid": "pooled", "fluid_kind": "gear-oil"})])
        self.assertEqual((r["grade"], r["actions"][0]["id"]), ("B", "check-gear-oil"))
        self.assertNotIn("open-and-rebuild", asked(r))
        self.assertEqual(report([record("2026-01-10", 60_000, DRY, gear_oil="milky")])["grade"], "C")


class Comebacks(unittest.TestCase):
    def test_a_seal_that_leaks_again(self):
        done = record("2026-01-10", 150_000, DRY, work=[{"did": "seal-renewed", "by": "here"}, "rotor-bearings-renewed"])
        again = report([done, record("2026-06-10", 160_000, FILM, unit={})])
        self.assertEqual([(c["id"], c["did"], c["date"]) for c in again["comebacks"]],
                         [("comeback-seal", "seal-renewed", "2026-01-10")])
        self.assertTrue(again["comebacks"][0]["text"].endswith(
            " It follows within 10,000 km and 151 days: rotor shaft seal replaced on 2026-01-10 at 150,000 km, done here."),
            again["comebacks"][0]["text"])
        self.assertNotIn("comebacks", report([done, record("2029-06-10", 260_000, FILM, unit={})]))


class Calendar(unittest.TestCase):
    def test_counted_from_the_day_that_asked(self):
        again = record("2026-01-20", 150_400, {**FILM, "corrosion": "light"}, unit={}, noise={"present": False})
        r = report([WET, again])
        rebuild = r["actions"][asked(r).index("open-and-rebuild")]
        self.assertEqual((rebuild["within_km"], rebuild["within_days"]), (1_100, 20))
        self.assertEqual(due(r)["open-and-rebuild"], (151_500, "2026-02-09", False))
        # A look that closes the request asks anew.
        self.assertEqual(due(r)["recheck"], (151_900, "2026-02-19", False))

    def test_the_overdue_first_and_named_so(self):
        units = [record("2026-03-01", 60_000, DRY), WET, record("2026-01-05", 190_000)]
        for i, r in enumerate(units):
            r = units[i] = json.loads(json.dumps(r))
            r["unit"]["id"] = f"HL-{i}"
        listed = ran("assess", "-", "--due", "2026-03-01", records=units).stdout
        rows = [line.split() for line in listed.splitlines() if re.match(r" +\d+ +HL-", line)]
        self.assertEqual([row[1:2] + row[-3:] for row in rows],
                         [["HL-2", "2026-02-04", "overdue", "191,000"], ["HL-1", "2026-02-09", "overdue", "151,500"]],
                         listed)
        csv = ran("assess", "-", "--format", "csv", records=units).stdout
        self.assertIn("due_action,due_date,due_km,overdue", csv)

    def test_every_limit_is_in_it(self):
        with open("examples/intake.jsonl", encoding="utf-8") as file:
            records = [json.loads(line) for line in file][:120]
        done = ran("assess", "-", "--format", "jsonl", records=records)
        for line in done.stdout.splitlines():
            r = json.loads(line)
            limited = {a["id"] for a in r["actions"] if a["within_km"] is not None or a["within_days"] is not None}
            self.assertTrue(limited <= set(due(r)), r["unit_id"])
            for a in r["actions"]:
                if a["within_days"] is not None and a["id"] != "recheck":
                    end = datetime.date.fromisoformat(a["asked"]) + datetime.timedelta(days=a["within_days"])
                    self.assertEqual(due(r)[a["id"]][1], end.isoformat())


if __name__ == "__main__":
    unittest.main()

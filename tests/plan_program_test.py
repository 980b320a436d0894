"""`plan` as people and scripts meet it: options, exit codes, streams, formats.

Usage: plan_program_test.py PROGRAM
"""
import json
import os
import re
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
PRICES = ("--prices", "examples/prices.json")
FILM = "examples/film-caught-early.json"


def run(*arguments, text=""):
    return subprocess.run([PROGRAM, "plan", *arguments], input=text.encode(), capture_output=True,
                          check=False)


def plans(*arguments, text=""):
    done = run(*arguments, *PRICES, "--format", "json", text=text)
    return [json.loads(line) for line in done.stdout.splitlines()]


def record(unit, **inspection):
    return {"format": "dryshaft-record/1", "unit": {"id": unit, "family": "plover-2"},
            "inspection": {"date": "2026-03-02", "odometer_km": 90000, **inspection}}


class Days(unittest.TestCase):
    def test_units_are_judged_as_of_the_newest_date(self):
        dry = {"checked": True, "fluid": "none", "dried_residue": False, "corrosion": "none", "debris": "none"}
        old = record("HL-1", port=dry, noise={"present": False})
        text = json.dumps(old) + "\n"
        for unit in ("HL-2", "HL-3"):  # a date that stands alone would not be believed
            new = record(unit, port=dry)
            new["inspection"]["date"] = "2031-03-02"
            text += json.dumps(new) + "\n"
        done = subprocess.run([PROGRAM, "assess", "--format", "json"], input=text.encode(), capture_output=True,
                              check=True)
        graded = {r["unit_id"]: r["grade"] for r in map(json.loads, done.stdout.splitlines())}
        planned = {p["unit_id"]: p["grade"] for p in plans(text=text)}
        self.assertEqual(planned, graded)
        self.assertEqual(planned["HL-1"], "U")
        self.assertEqual(plans(text=json.dumps(old))[0]["grade"], "A")


class Usage(unittest.TestCase):
    def refused(self, *arguments):
        done = run(*arguments)
        self.assertEqual((done.returncode, done.stdout), (2, b""))
        return done.stderr.decode()

    def test_wrong_usage_is_said(self):
        self.assertEqual(self.refused(FILM), "dryshaft: a plan needs --prices FILE\n")
        self.assertEqual(self.refused(FILM, *PRICES, "--horizon", "soon"),
                         'dryshaft: --horizon is "soon", not a distance such as 60000km or a time '
                         "such as 5y\n")
        self.assertEqual(self.refused(FILM, *PRICES, "--horizon", "50y"),
                         'dryshaft: --horizon is "50y", 1000000 km: not between 1000 and 200000\n')
        self.assertIn('there is no option "open-and-rebuidl", did you mean "open-and-rebuild"?',
                      self.refused(FILM, "--job-sheet", "open-and-rebuidl"))
        self.assertEqual(self.refused("examples/seized.json", "--job-sheet", "recheck"),
                         "dryshaft: recheck is not allowed for HL-0107: Grade D: damage now, or a "
                         "hazard.\n")
        self.assertEqual(self.refused(FILM, *PRICES, "--hours", "40"),
                         "dryshaft: --hours, --budget and --format csv go with --intake FILE\n")
        for more in (["--intake", FILM], [FILM, "--job-sheet", "bypass"]):
            self.assertEqual(self.refused(*more, *PRICES, "--jobs", "2"),
                             "dryshaft: --jobs goes with plans of units\n")
        self.assertEqual(self.refused(*PRICES, "--intake", FILM, "--hours", "4", "--budget", "5"),
                         "dryshaft: the limit is --hours or --budget, not both\n")

    def test_a_price_book_that_is_missing_or_bad(self):
        done = run(FILM, "--prices", "no-such.json")
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"no-such.json: error[no-input]: cannot be read", done.stderr)
        with tempfile.NamedTemporaryFile("w", suffix=".json") as book:
            book.write('{"format": "dryshaft-prices/1", "currency": "crowns", "prices": {}}')
            book.flush()
            done = run(FILM, "--prices", book.name)
        self.assertEqual((done.returncode, done.stdout), (3, b""))
        self.assertEqual(done.stderr.count(b"error[missing]: /prices has no "), 10)


class Plans(unittest.TestCase):
    def test_the_members_that_scripts_rely_on(self):
        (plan,) = plans(FILM)
        self.assertEqual(plan["format"], "dryshaft-plan/1")
        self.assertEqual({o["id"] for o in plan["options"]},
                         {"check-port", "recheck", "bypass-rotor-circuit", "open-and-rebuild",
                          "open-and-rebuild+bypass-rotor-circuit", "replace-major-parts"})
        for option in plan["options"]:
            self.assertEqual(option["allowed"], option["cost"] is not None)
            self.assertEqual(option["allowed"], option["because"] == [])
            if option["allowed"]:
                cost = option["cost"]
                self.assertLessEqual(cost["low_10"], cost["high_90"])
                self.assertLessEqual(cost["at_least"], cost["expected"] + 0.01)
                self.assertAlmostEqual(sum(cost["spending"].values()), cost["expected"], delta=0.05)
                self.assertTrue(0 <= cost["chance_lost"] <= 1)
        allowed = [o["cost"]["expected"] for o in plan["options"] if o["allowed"]]
        self.assertEqual(allowed, sorted(allowed))
        self.assertEqual(plan["best"], plan["options"][0]["id"])
        self.assertEqual([o["id"] for o in plan["beside"]], ["renew-gear-bearings"])
        self.assertEqual((plan["first"][0]["id"], plan["first"][0]["within_km"]), ("measure-insulation", 500))
        self.assertTrue(all(t["verified"] for t in plan["comparison"]["thresholds"]))

    def test_no_grade_d_may_be_driven_on_and_no_wrong_rotor_bypassed(self):
        records = [
            record("D", rotation="seized"),
            record("noise", noise={"present": True},
                   port={"checked": True, "fluid": "film", "fluid_kind": "coolant",
                         "dried_residue": False, "corrosion": "none"}),
            record("unseen"),
        ]
        text = "".join(json.dumps(r) + "\n" for r in records)
        for plan in plans(text=text):
            options = {o["id"]: o for o in plan["options"]}
            if plan["grade"] == "D":
                self.assertFalse(options["recheck"]["allowed"])
            self.assertFalse(options["bypass-rotor-circuit"]["allowed"], plan["unit_id"])
            self.assertTrue(options["open-and-rebuild"]["allowed"])

    def test_the_same_bytes_for_any_number_of_jobs(self):
        with open("examples/intake.jsonl", encoding="utf-8") as file:
            text = "".join(file.readlines()[:3]) + "{}\n"
        for form in ("json", "html"):
            one, three = (run(*PRICES, "--format", form, "--jobs", jobs, text=text) for jobs in ("1", "3"))
            self.assertEqual(one.returncode, 3)  # the broken one is told of, and all others are planned
            self.assertEqual((one.stdout, one.stderr), (three.stdout, three.stderr))
            self.assertGreater(len(one.stdout), 10000)

    def test_the_same_bytes_again(self):
        self.assertEqual(run(FILM, *PRICES).stdout, run(FILM, *PRICES).stdout)

    def test_every_text_is_within_80_columns(self):
        for who in ("technician", "owner"):
            for name in ("film-caught-early", "seized", "owner-no-port-check", "contradictory"):
                done = run(f"examples/{name}.json", *PRICES, "--for", who)
                self.assertEqual(done.returncode, 3 if name == "contradictory" else 0, done.stderr)
                for line in done.stdout.decode().splitlines():
                    self.assertLessEqual(len(line), 80, line)

    def test_an_owner_is_told_to_measure_and_open_nothing(self):
        for name in ("film-caught-early", "seized", "owner-no-port-check", "contradictory"):
            text = run(f"examples/{name}.json", *PRICES, "--for", "owner").stdout.decode().lower()
            for word in ("measure", "megohm", "multimeter", "unplug", "isolate"):
                self.assertNotIn(word, text)

    def test_a_page_loads_and_runs_nothing(self):
        page = run(FILM, *PRICES, "--format", "html").stdout.decode()
        self.assertTrue(page.startswith("<!DOCTYPE html>"))
        for part in ("<script", "http:", "https:", "src="):
            self.assertNotIn(part, page)


class Sheets(unittest.TestCase):
    def steps(self, name, option):
        done = run(f"examples/{name}.json", "--job-sheet", option, "--format", "markdown")
        self.assertEqual(done.returncode, 0, done.stderr)
        text = done.stdout.decode()
        return text, [line for line in text.splitlines() if re.match(r"\d+\. ", line)]

    def place(self, steps, words):
        found = [i for i, step in enumerate(steps) if words in step]
        self.assertEqual(len(found), 1, (words, steps))
        return found[0]

    def test_no_joint_is_opened_after_the_circuit_is_filled(self):
        for option in ("bypass-rotor-circuit", "open-and-rebuild+bypass-rotor-circuit"):
            _, steps = self.steps("film-caught-early", option)
            pipe = self.place(steps, "fit the bypass pipe")
            bled = self.place(steps, "bleed ")
            self.assertLess(self.place(steps, "rain "), pipe)
            self.assertLess(pipe, bled)
            for after in steps[bled + 1:]:
                self.assertIn("Write down", after)

    def test_large_parts_are_judged_while_the_unit_is_open(self):
        _, steps = self.steps("seized", "replace-major-parts")
        order = [self.place(steps, words) for words in (
            "Before anything is drained", "unit out with", "Open the unit", "Take the seal off",
            "Disconnect winding, inverter and cables", "Rotor: check for cracks", "Press new bearings on", "close with sealant",
            "Refit the unit", "bleed ", "Write down")]
        self.assertEqual(order, sorted(order))

    def test_the_insulation_is_measured_with_winding_and_inverter_disconnected(self):
        text, steps = self.steps("film-caught-early", "open-and-rebuild")
        first = steps[0]
        self.assertLess(first.index("Disconnect the winding from the inverter"), first.index("measure the insulation"))
        (check,) = [line for line in text.splitlines() if line.startswith("- Insulation of the whole winding to housing")]
        self.assertIn("still disconnected", check)

    def test_a_job_that_pulls_the_sensor_says_that_its_clip_is_fragile(self):
        for option in ("bypass-rotor-circuit", "open-and-rebuild", "recheck"):
            if option == "recheck":
                text, _ = self.steps("dry-and-quiet", option)
            else:
                text, _ = self.steps("film-caught-early", option)
            self.assertIn("Connector clip:", text, option)
            self.assertIn("Moving parts:", text, option)


    def test_gearbox_bearings_are_replaced_without_touching_the_seal(self):
        text, steps = self.steps("tone-dry-port-hybrid", "renew-gear-bearings")
        order = [self.place(steps, words) for words in (
            "Check the port before", "prove dead", "unit out with", "gearbox side", "Take the input bearings off",
            "Press new bearings on", "Close with sealant", "Refit the unit", "Fill oil", "Write down")]
        self.assertEqual(order, sorted(order))
        self.assertIn("gear-bearings-renewed", text)
        self.assertNotIn("seal-renewed", text)


class Yard(unittest.TestCase):
    def test_bad_records_are_listed_and_no_good_one_is_lost(self):
        dry = {"checked": True, "fluid": "none", "dried_residue": False, "corrosion": "none"}
        lines = [json.dumps(record(f"U{i}", port=dry)) for i in range(3)]
        lines.insert(1, '{"format": "dryshaft-record/1"}')
        with tempfile.NamedTemporaryFile("w", suffix=".jsonl") as intake:
            intake.write("\n".join(lines) + "\n")
            intake.flush()
            done = run("--intake", intake.name, *PRICES, "--hours", "23", "--format", "json")
            self.assertEqual(done.returncode, 3)
            yard = json.loads(done.stdout)
            csv = run("--intake", intake.name, *PRICES, "--budget", "1500", "--format", "csv")
        self.assertEqual(yard["rejected_records"], 1)
        self.assertEqual(sorted(u["unit_id"] for u in yard["units"]), ["U0", "U1", "U2"])
        self.assertEqual(sum(u["chosen"] for u in yard["units"]), 2)  # 11 hours each and a little
        self.assertLessEqual(yard["chosen"]["hours"], 23)
        self.assertEqual(csv.stdout.count(b"\r\n"), 4)

    def yard(self, *arguments):
        return json.loads(run("--intake", "examples/intake.jsonl", *PRICES, *arguments, "--format",
                              "json").stdout)

    def test_cores_stand_by_what_an_hour_gains_and_close_ones_share_a_rank(self):
        yard = self.yard("--hours", "40")
        units = yard["units"]
        for chosen in (True, False):
            rates = [u["per_unit"] for u in units if u["chosen"] == chosen]
            self.assertEqual(rates, sorted(rates, reverse=True))
        for unit in units:
            self.assertAlmostEqual(unit["per_unit"], unit["value"] / unit["hours"], delta=0.1)
            self.assertGreater(unit["spread"], 0)
        ranks = [u["rank"] for u in sorted(units, key=lambda u: -u["per_unit"])]
        self.assertEqual(ranks, sorted(ranks))
        self.assertEqual(set(ranks), set(range(1, max(ranks) + 1)))
        self.assertLess(max(ranks), 10)  # hundreds of cores, but no more than can be told apart
        self.assertTrue(all(u["damaged"] < 0.5 for u in units if u["chosen"]))
        self.assertTrue(all(u["value"] > 0 for u in units if u["chosen"]))

    def test_a_sound_unit_that_sells_well_as_it_is_is_not_opened(self):
        with open("examples/prices.json", encoding="utf-8") as file:
            book = json.load(file)
        book["prices"]["sound_unit"] = 3000
        with tempfile.NamedTemporaryFile("w", suffix=".json") as prices:
            json.dump(book, prices)
            prices.flush()
            done = run("--intake", "examples/intake.jsonl", "--prices", prices.name, "--hours", "40",
                       "--format", "json")
        sound = [u for u in json.loads(done.stdout)["units"] if u["grade"] == "A"]
        self.assertTrue(sound)
        self.assertTrue(all(u["value"] < 0 and not u["chosen"] for u in sound))

    def test_a_check_that_tells_good_cores_from_bad_is_worth_most(self):
        # Room for one: an unseen core that may be the better one.
        records = [record("seen", port={"checked": True, "fluid": "droplets",
                                        "fluid_kind": "coolant", "dried_residue": False,
                                        "corrosion": "light"}),
                   record("unseen")]
        with tempfile.NamedTemporaryFile("w", suffix=".jsonl") as intake:
            intake.write("".join(json.dumps(r) + "\n" for r in records))
            intake.flush()
            yard = json.loads(run("--intake", intake.name, *PRICES, "--hours", "14", "--format",
                                  "json").stdout)
        self.assertTrue(all(c["gain"] > c["cost"] > 0 for c in yard["checks"]))
        gains = {u["unit_id"]: (u["best_check"], u["check_gain"]) for u in yard["units"]}
        self.assertTrue(all(gain >= 0 for _, gain in gains.values()))
        self.assertGreater(max(gain for _, gain in gains.values()), 0)


if __name__ == "__main__":
    unittest.main()

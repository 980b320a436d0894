"""The library as a page has it, under node and in a browser, beside the program: the same bytes for
the same records.

Usage: core_page_test.py PROGRAM

Skipped (77) where the build had no compiler for pages, or there is no node. See browser.py for what
the browser needs.
"""
import base64
import collections
import concurrent.futures
import gzip
import hashlib
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

from browser import faults, start

PROGRAM = os.path.abspath(sys.argv.pop(1))
BUILD = pathlib.Path(PROGRAM).parent
SKIPPED = 77
# A PNG of one pixel, as a page puts photographs into a record.
PIXEL = ("data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR4nGNgYGBgAAAABQABpfZFQAAA"
         "AABJRU5ErkJggg==")
KIB = 1024


def literal():
    """The module as the program holds it, in base64, and its SHA-256."""
    text = (BUILD / "literals" / "page" / "module.inc").read_text(encoding="ascii")
    found = re.fullmatch(r'R"module\((.*)\)module"sv,\n"([0-9a-f]{64})"sv\n', text)
    return found and (found[1], found[2])


def ask(requests):
    """What the module answers, each with its milliseconds; first how long it took to open."""
    text = "".join(json.dumps(r) + "\n" for r in requests)
    done = subprocess.run(["node", "tests/core.cjs"], input=(literal()[0] + "\n" + text).encode(),
                          stdout=subprocess.PIPE, check=True)
    opened, *answers = [json.loads(line) for line in done.stdout.decode().splitlines()]
    assert len(answers) == len(requests)
    return opened["ms"], answers


def program(text, *options):
    """What the program prints of records."""
    done = subprocess.run([PROGRAM, "assess", *options], input=text.encode(), capture_output=True,
                          check=False)
    assert done.returncode in (0, 3), (options, done.returncode, done.stderr.decode())
    return done.stdout.decode(), done.stderr.decode()


def units():
    """Texts of records, one unit each: name, text."""
    for path in sorted(pathlib.Path("examples").glob("*.json")):
        if path.name != "prices.json":
            yield path.name, path.read_text(encoding="utf-8")
    for path in ("examples/intake.jsonl", "examples/history-ten-years.jsonl"):
        lines = collections.defaultdict(list)
        for line in pathlib.Path(path).read_text(encoding="utf-8").splitlines():
            lines[json.loads(line)["unit"]["id"]].append(line)
        for name in list(lines)[:300]:
            yield name, "\n".join(lines[name]) + "\n"


def odd_texts():
    """Records of all kinds, most of them bad, that a page's script can hand over: name, text."""
    for path in sorted(pathlib.Path("tests/records").glob("*/*.json*")):
        try:
            yield path.name, path.read_bytes().decode()
        except UnicodeDecodeError:
            pass
    good = pathlib.Path("examples/miles.json").read_text(encoding="utf-8")
    for number in ("1e999", "-1e999", "1e-400", "1E5", "-0", "00", "1.", ".5", "0x10", "+1", "1e",
                   "123456789012345678901234567890", "0.1e1", "5e-324", "inf", "nan"):
        text, changed = re.subn(r'("odometer_mi": *)[0-9.]+', r"\g<1>" + number, good)
        assert changed, good
        yield number, text


def request(text, *options):
    """The same as options of `assess`."""
    out = {"records": text, "name": "<stdin>"}
    for option, value in zip(options, options[1:] + ("",)):
        if option == "--buying":
            out["buying"] = True
        elif option.startswith("--"):
            out[option[2:]] = value
    return {"graded": out}


EACH = [("--format", "html"), ("--format", "json")]
EXAMPLES = [("--format", "html", "--for", "owner"), ("--format", "json", "--for", "owner"),
            ("--format", "html", "--for", "owner", "--buying"),
            ("--format", "html", "--units", "mi", "--today", "2027-01-31"),
            ("--format", "text"), ("--format", "markdown")]


class Core(unittest.TestCase):
    def test_the_program_holds_the_module(self):
        packed, sha256 = literal()
        module = gzip.decompress(base64.b64decode(packed))
        self.assertEqual(module, (BUILD / "page" / "module.wasm").read_bytes())
        self.assertEqual(hashlib.sha256(module).hexdigest(), sha256)
        # As much as a page can be expected to carry.
        self.assertLess(len(module), 1500 * KIB)
        self.assertLess(len(packed), 700 * KIB)

    def test_the_same_bytes(self):
        wanted = [(name, text, options) for name, text in units() for options in EACH]
        wanted += [(name, text, options) for name, text in units() if name.endswith(".json")
                   for options in EXAMPLES]
        opened, answers = ask([request(text, *options) for _, text, options in wanted])
        with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
            printed = list(pool.map(lambda w: program(w[1], *w[2]), wanted))
        for (name, _, options), answer, (out, complaints) in zip(wanted, answers, printed):
            with self.subTest(name, options=options):
                got = answer["answer"]
                self.assertEqual("".join(got["reports"]), out)
                self.assertEqual("".join(got["complaints"]), complaints)
        self.say_times(opened, answers)

    def test_the_same_complaints(self):
        # Units of one file may come in another order: as JSON each is a line.
        options = ("--format", "json", "--today", "2027-01-31")
        texts = list(odd_texts())
        _, answers = ask([request(text, *options) for _, text in texts])
        refused = 0
        for (name, text), answer in zip(texts, answers):
            with self.subTest(name):
                out, complaints = program(text, *options)
                got = answer["answer"]
                self.assertEqual(sorted(got["reports"]), sorted(out.splitlines(keepends=True)))
                self.assertEqual("".join(got["complaints"]), complaints)
                refused += got["refused"]
        self.assertGreater(refused, len(texts) // 3)

    def test_drawn_answers(self):
        """300 forms, each filled at random as far as its questions apply, then graded."""
        draw = random.Random(20260318)
        kinds = [("owner", []), ("buyer", ["--buying"]), ("technician", ["--for", "technician"])]
        forms = []
        for kind, options in kinds:
            page = subprocess.run([PROGRAM, "form", "blank", "--format", "html", *options],
                                  capture_output=True, check=True).stdout.decode()
            self.assertIn(f'"core":"{literal()[1]}"', page)
            data = json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page)[1])
            questions = {q["key"]: q for q in data["questions"]}
            forms += [(kind, questions, {"unit-id": {"typed": f"{kind} {n}"}, "date": {"typed": "2026-03-18"}})
                      for n in range(100)]
        seen = [set(answers) for _, _, answers in forms]
        while True:
            _, said = ask([{"answered": {"form": kind, "today": "2026-03-18", "answers": answers}}
                           for kind, _, answers in forms])
            new = 0
            for (_, questions, answers), keys, one in zip(forms, seen, said):
                for key in [q["key"] for q in one["answer"]["questions"] if q["key"] not in keys]:
                    keys.add(key)
                    new += 1
                    if draw.random() < (0.3 if key.endswith("-did") else 0.7):
                        answers[key] = self.drawn(draw, questions[key])
            if not new:
                break
        records = [one["answer"]["records"] for one in said]
        whole = [n for n, text in enumerate(records) if text]
        self.assertGreater(len(whole), 200)  # the others hold what cannot be
        for n, one in enumerate(said):
            self.assertEqual(n in whole, not any(q["problem"] for q in one["answer"]["questions"]))
        options = {"owner": ("--for", "owner"), "buyer": ("--for", "owner", "--buying"), "technician": ()}
        wanted = [(records[n], ("--format", "html", *options[forms[n][0]])) for n in whole]
        _, answers = ask([request(text, *options) for text, options in wanted])
        with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
            printed = list(pool.map(lambda w: program(w[0], *w[1]), wanted))
        for (text, _), answer, (out, complaints) in zip(wanted, answers, printed):
            with self.subTest(text):
                self.assertEqual("".join(answer["answer"]["reports"]), out)
                self.assertEqual("".join(answer["answer"]["complaints"]), complaints)

    @staticmethod
    def drawn(draw, question):
        words = [c["word"] for c in question["choices"]]
        if words:
            several = question["kind"] == "several"
            return {"words": draw.sample(words, draw.randint(1, len(words))) if several else [draw.choice(words)]}
        if question["kind"] == "photos":
            return {"words": [PIXEL]}
        if question["kind"] == "date":
            return {"typed": draw.choice(["2026-03-18", "2026-01-31", "2025-02-28"])}
        if question["key"] == "unit-built":
            return {"typed": draw.choice(["2017", "2018-05"])}
        if question["distance"]:
            km = {"odometer": ["123,456", "98000.5"], "unit-fitted-odometer": ["0"]}.get(question["key"], ["61 000"])
            return {"typed": draw.choice(km), "unit": draw.choice(["km", "km", "mi"])}
        if question["kind"] == "number":
            return {"typed": draw.choice(["0", "35.5", "500"])}
        return {"typed": draw.choice(["since May, \u201clouder\u201d", "</script><b>"])}

    def say_times(self, opened, answers):
        times = sorted(a["ms"] for a in answers[1:])
        print(f"{len(answers)} reports; opened in {opened:.0f} ms, the first report "
              f"{answers[0]['ms']:.0f} ms, then {times[len(times) // 2]:.1f} ms (median), "
              f"{times[-1]:.1f} ms at most")


class InBrowser(unittest.TestCase):
    """In a page that may reach nothing, on a phone of a quarter of this machine's speed."""

    def test_a_page_grades(self):
        script = pathlib.Path("src/page/core.js").read_text(encoding="utf-8") + """
(async () => {
  const begun = performance.now();
  window.core = await openCore(await unpacked(document.getElementById('module').textContent));
  core.graded({records: ''});
  window.opened = performance.now() - begun;
})();
"""
        sha256 = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        page = ("<!DOCTYPE html><html><head><meta charset='utf-8'><meta http-equiv='Content-Security-Policy' "
                f"content=\"default-src 'none'; connect-src 'none'; script-src 'sha256-{sha256}' "
                f"'wasm-unsafe-eval'\"></head><body><script type='text/plain' id='module'>{literal()[0]}"
                f"</script><script>{script}</script></body></html>")
        text = pathlib.Path("examples/owner-no-port-check.json").read_text(encoding="utf-8")
        options = ("--format", "html", "--for", "owner")
        with tempfile.TemporaryDirectory() as scratch:
            path = pathlib.Path(scratch) / "page.html"
            path.write_text(page, encoding="utf-8")
            browser = start()
            try:
                browser.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": 4})
                browser.get(path.as_uri())
                opened, first, later, html = browser.execute_async_script("""
const [request, done] = arguments;
const wait = () => {
  if (!window.opened) return setTimeout(wait, 20);
  const times = [0, 1, 2, 3].map(() => {
    const begun = performance.now();
    core.graded(request);
    return performance.now() - begun;
  });
  done([window.opened, times[0], Math.min(...times), core.graded(request).reports.join('')]);
};
wait();""", request(text, *options)["graded"])
                self.assertEqual(faults(browser), [])
            finally:
                browser.quit()
        self.assertEqual(html, program(text, *options)[0])
        print(f"in a browser: opened in {opened:.0f} ms, the first report {first:.0f} ms, "
              f"then {later:.0f} ms")


if __name__ == "__main__":
    if not literal() or not shutil.which("node"):
        print("skipped: " + ("there is no node" if literal() else
                             "the build had no compiler for pages; see DEVELOPERS.md"))
        sys.exit(SKIPPED)
    unittest.main()

"""Photographs of a record: read, checked, shown in pages and named elsewhere; never judged.

Usage: photos_test.py PROGRAM
"""
import base64
import json
import os
import re
import struct
import subprocess
import sys
import tempfile
import unittest
import zlib

PROGRAM = os.path.abspath(sys.argv.pop(1))


def chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width, height, padding=0):
    rows = b"".join(b"\0" + b"\x80" * width for _ in range(height))
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)) +
            (chunk(b"teXt", b"p" * padding) if padding else b"") +
            chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b""))


# Heads alone: what follows them is not looked at.
JPEG = (b"\xff\xd8\xff\xe0\x00\x10JFIF\0\1\1\0\0\1\0\1\0\0" + b"\xff\xdb\x00\x03\0" + b"\xff\xff\xc2\x00\x0b\x08" +
        struct.pack(">HH", 480, 640) + b"\1\1\x11\0")
GIF = b"GIF89a" + struct.pack("<HH", 30, 20) + b"\0\0\0"
WEBP = {
    "VP8 ": b"RIFF\x20\0\0\0WEBPVP8 \x10\0\0\0\x10\0\0\x9d\x01\x2a" + struct.pack("<HH", 0x4000 | 31, 21),
    "VP8L": b"RIFF\x20\0\0\0WEBPVP8L\x10\0\0\0\x2f" + struct.pack("<I", 31 | 21 << 14),
    "VP8X": b"RIFF\x20\0\0\0WEBPVP8X\x0a\0\0\0\0\0\0\0" + bytes([31, 0, 0, 21, 0, 0]),
}


def uri(data, kind="png"):
    return f"data:image/{kind};base64,{base64.b64encode(data).decode()}"


def record(*photos, unit="HL-1", date="2026-03-02", **port):
    return {"format": "dryshaft-record/1", "unit": {"id": unit},
            "inspection": {"date": date, "odometer_km": 90000, "by": "technician",
                           "port": {"checked": True, "fluid": "film", **port}, "photos": list(photos)}}


class Case(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = folder.name

    def path(self, name):
        return os.path.join(self.folder, name)

    def put(self, name, data):
        os.makedirs(os.path.dirname(self.path(name)), exist_ok=True)
        with open(self.path(name), "wb") as f:
            f.write(data if isinstance(data, bytes) else data.encode())
        return self.path(name)

    def run_on(self, *arguments, text="", command="assess"):
        done = subprocess.run([PROGRAM, command, *arguments], input=text.encode(), capture_output=True, check=False)
        return done.returncode, done.stdout.decode(), done.stderr.decode()

    def page(self, *arguments, text="", says=0, error=""):
        code, out, err = self.run_on("--format", "html", *arguments, text=text)
        self.assertEqual((code, err), (says, error))
        return out


class Files(Case):
    def test_beside_the_record_or_in_a_folder(self):
        photo = png(40, 30)
        self.put("a/tip.png", photo)
        one = self.put("a/record.json", json.dumps(record("tip.png", corrosion="light", dried_residue=False)))
        page = self.page(one)
        self.assertIn(f'<img src="{uri(photo)}" alt="Photograph of 2026-03-02. At the sensor port, by the record: a film '
                      'of liquid, no dried residue, light rust.">', page)
        self.assertIn("img-src data:; ", page)
        self.assertIn(">tip.png, 2026-03-02</figcaption>", page)
        self.assertIn(uri(photo), self.page("--for", "owner", one))
        other = self.put("b/record.json", json.dumps(record("tip.png")))
        self.assertIn(uri(photo), self.page("--photos", self.path("a"), other))
        self.assertIn(uri(photo), self.page("--photos", self.path("a"), text=json.dumps(record("tip.png"))))
        self.put("a/far/tip.png", photo)
        self.assertIn(uri(photo), self.page("--photos", self.path("a"), text=json.dumps(record("far/tip.png"))))

    def test_of_all_looks_the_newest_first(self):
        first, second = png(10, 10), png(20, 20)
        self.put("old.png", first)
        self.put("new.png", second)
        both = self.put("r.jsonl", "\n".join(json.dumps(r) for r in (
            record("old.png", date="2025-03-02"), record("new.png"))))
        page = self.page(both)
        self.assertLess(page.index(uri(second)), page.index(uri(first)))
        self.assertIn("old.png, 2025-03-02", page)

    def test_other_formats_name_them(self):
        text = json.dumps(record("tip.png", uri(JPEG, "jpeg")))
        names = ["tip.png", "photograph 2 (JPEG, 640 x 480)"]
        report = json.loads(self.run_on("--format", "json", text=text)[1])
        self.assertEqual([(p["name"], p["date"]) for p in report["photos"]], [(n, "2026-03-02") for n in names])
        for form in ("text", "markdown"):
            code, out, err = self.run_on("--format", form, "--full", text=text)
            self.assertEqual((code, err), (0, ""))
            self.assertRegex(out, "Photographs\n+ *- tip\\.png, 2026-03-02\n *- " + re.escape(names[1]) + ", 2026-03-02\n")
        for form in ("json", "text", "jsonl", "csv", "markdown"):
            self.assertNotIn(base64.b64encode(JPEG).decode()[:12], self.run_on("--format", form, text=text)[1])
        self.assertNotIn("photos", json.loads(self.run_on("--format", "json", text=json.dumps(record()))[1]))

    def test_what_cannot_be_shown_is_named(self):
        self.put("not.png", "<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>")
        self.put("cut.jpg", JPEG[:24])
        self.put("empty.gif", b"")
        self.put("huge.png", png(4, 4, 4 << 20))
        self.put("wide.png", png(1, 1).replace(struct.pack(">II", 1, 1), struct.pack(">II", 40000, 1)))
        os.mkfifo(self.path("pipe.jpg"))
        os.mkdir(self.path("folder.jpg"))
        self.put("good.gif", GIF)
        names = ["gone.png", "not.png", "cut.jpg", "empty.gif", "huge.png", "wide.png", "pipe.jpg", "folder.jpg", "good.gif"]
        path = self.put("r.json", json.dumps(record(*names)))
        code, page, err = self.run_on("--format", "html", path)
        self.assertEqual(code, 0)
        none = "no JPEG, PNG, WebP or GIF picture, or a damaged one"
        why = ["no such file", none, none, none, "4.1 MB, and a picture may have 4 MB", none, "it is no file", "it is no file"]
        told = [line for line in err.splitlines() if "photo-not-shown" in line]
        self.assertEqual(len(told), 8)
        for number, (name, reason) in enumerate(zip(names, why)):
            self.assertRegex(told[number], rf'r\.json:1:\d+: warning\[photo-not-shown\]: /inspection/photos/{number} '
                                           rf'is "{name}", and not shown: {reason}$')
            self.assertIn(f"{name}, 2026-03-02 (not shown: {reason})", page.replace("\u00a0", " "))
        self.assertIn("--photos says in which folder it is", err)
        self.assertEqual(page.count("<img"), 1)
        self.assertNotIn("<svg xmlns", page)
        # The grade is that of the record without them.
        grade = re.search(r"<title>(.*)</title>", page).group(1)
        self.assertEqual(grade, re.search(r"<title>(.*)</title>", self.page(text=json.dumps(record()))).group(1))

    def test_a_report_shows_so_much_and_no_more(self):
        for i in range(4):
            self.put(f"{i}.png", png(4, 4, (4 << 20) - 1000))
        path = self.put("r.json", json.dumps(record(*(f"{i}.png" for i in range(4)))))
        code, page, err = self.run_on("--format", "html", path)
        self.assertEqual((code, page.count("<img")), (0, 3))
        self.assertIn('photos/3 is "3.png", and not shown: those before it are the 12 MB that a report shows', err)

    def test_check_looks_for_them(self):
        self.put("tip.png", png(4, 4))
        path = self.put("r.json", json.dumps(record("tip.png", "gone.png")))
        code, out, err = self.run_on(path, command="check")
        self.assertEqual((code, "records: 1 good, 0 rejected; 1 unit" in out), (0, True))
        self.assertRegex(err, 'is "gone.png", and not shown: no such file\n.*hint: .*gone.png: No such file')
        self.assertEqual(err.count("warning["), 1)

    def test_wrong_usage(self):
        for arguments in (["--photos", self.folder], ["--photos", self.path("gone"), "--format", "html"],
                          ["--photos", self.folder, "--letters", self.path("l"), "--format", "text"]):
            self.assertEqual(self.run_on(*arguments, text=json.dumps(record()))[0], 2)


class ManyAndLetters(Case):
    def test_each_unit_has_its_own(self):
        photos = {unit: png(10 + i, 10) for i, unit in enumerate(("HL-1", "HL-2"))}
        for unit, photo in photos.items():
            self.put(f"{unit}.png", photo)
        text = "\n".join(json.dumps(record(f"{unit}.png", unit=unit)) for unit in photos)
        letters = self.path("letters")
        page = self.page("--photos", self.folder, "--letters", letters, "--jobs", "2", text=text)
        for photo in photos.values():
            self.assertIn(uri(photo), page)
        for unit, other in (("HL-1", "HL-2"), ("HL-2", "HL-1")):
            with open(os.path.join(letters, f"{unit}.html"), encoding="utf-8") as f:
                letter = f.read()
            self.assertIn(uri(photos[unit]), letter)
            self.assertNotIn(uri(photos[other]), letter)
        # Letters alone: each missing file is told of once.
        code, _, err = self.run_on("--letters", letters, text=text)
        self.assertEqual((code, err.count("photo-not-shown")), (0, 2))
        code, _, err = self.run_on("--letters", letters, "--format", "html", text=text)
        self.assertEqual((code, err.count("photo-not-shown")), (0, 2))

    def test_tables_name_them(self):
        photo = png(9, 9)
        self.put("tip 1.png", photo)
        path = self.put("r.csv", "unit id,date,photographs\nHL-1,2026-03-02,tip 1.png; gone.png\n")
        code, page, err = self.run_on("--format", "html", path)
        self.assertEqual((code, page.count(uri(photo))), (0, 1))
        self.assertIn('r.csv:2:17: warning[photo-not-shown]: /inspection/photos/1 is "gone.png"', err)


class Inside(Case):
    def test_each_kind(self):
        kinds = [("png", png(40, 30), "PNG, 40 x 30"), ("jpeg", JPEG, "JPEG, 640 x 480"), ("gif", GIF, "GIF, 30 x 20"),
                 ("webp", WEBP["VP8 "], "WebP, 31 x 21"), ("webp", WEBP["VP8L"], "WebP, 32 x 22"),
                 ("webp", WEBP["VP8X"], "WebP, 32 x 22")]
        text = json.dumps(record(*(uri(data, kind) for kind, data, _ in kinds)))
        page = self.page(text=text)
        for number, (kind, data, shown) in enumerate(kinds, 1):
            self.assertIn(f'<img src="{uri(data, kind)}"', page)
            self.assertIn(f">photograph {number} ({shown}), 2026-03-02</figcaption>", page)

    def test_what_is_no_picture_is_named(self):
        photos = [uri(b"GIF89a"), uri(JPEG, "png"), uri(png(4, 4, 300 << 10)), uri(b"plain text", "gif")]
        code, page, err = self.run_on("--format", "html", text=json.dumps(record(*photos)))
        self.assertEqual((code, page.count("<img")), (0, 0))
        for number, why in enumerate(["no JPEG, PNG", "said to be image/png, and is image/jpeg",
                                      "301 KB, and a picture may have 300 KB", "no JPEG, PNG"]):
            self.assertRegex(err, rf"<stdin>:1:\d+: warning\[photo-not-shown\]: /inspection/photos/{number} is not shown: {why}")
            self.assertRegex(page, f"photograph {number + 1}, 2026-03-02 \\(not shown: {why}".replace(" KB", "( |\u00a0)KB"))

    def test_two_of_the_largest_fit_a_record(self):
        most = png(4, 4, (300 << 10) - 200)
        other = png(5, 4, (300 << 10) - 200)
        self.assertEqual(self.page(text=json.dumps(record(uri(most), uri(other)))).count("<img"), 2)


class Refused(Case):
    def test_names_that_lead_elsewhere(self):
        for name in ("/etc/passwd", "../tip.png", "a/../../tip.png", "a//tip.png", "./tip.png", "a/", "", "..",
                     "http://example.org/tip.png", "file:///tip.png", "C:\\tip.png", "a\\tip.png", "tip\n.png",
                     "data:image/svg+xml;base64,AAAA", "data:image/png,AAAA", "data:image/png;base64,AA=A",
                     "data:image/png;base64,", "data:text/html;base64,AAAA", "DATA:image/png;base64,AAAA",
                     "javascript:alert(1)", "x" * 201, "tip\u200b.png"):
            code, out, err = self.run_on("--format", "json", text=json.dumps(record("good.png", name)))
            self.assertEqual((code, out), (3, ""), name)
            self.assertIn("/inspection/photos/1 ", err)
            self.assertIn("error[", err)
        for name in ("tip.png", "shots/2026/tip 1.png", "12:30.jpg", "..tip.png", "t\u00eate.png", "x" * 200):
            self.assertEqual(self.run_on("--format", "json", text=json.dumps(record(name)))[0], 0, name)

    def test_lists_that_are_none(self):
        for photos in ("tip.png", ["tip.png", "tip.png"], [1], [None], {"a": 1}, [f"{i}.png" for i in range(21)]):
            r = record()
            r["inspection"]["photos"] = photos
            code, _, err = self.run_on(text=json.dumps(r))
            self.assertEqual(code, 3, photos)
            self.assertIn("/inspection/photos", err)


if __name__ == "__main__":
    unittest.main()

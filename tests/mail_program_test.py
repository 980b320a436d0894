"""`form read` takes what owners send: mails, mailboxes, pages; and writes a letter back to each.

Usage: mail_program_test.py PROGRAM
"""
import email.policy
import html
import json
import os
import quopri
import random
import re
import subprocess
import sys
import tempfile
import unittest
from email.message import EmailMessage

PROGRAM = os.path.abspath(sys.argv.pop(1))
RECORD = ('{"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"date":"2026-03-18",'
          '"odometer_km":109000,"by":"owner","faults":{"isolation":"active"}}}\n')
NO_FORM = "holds no form and no record\n"


def read(*arguments, data=b""):
    return subprocess.run([PROGRAM, "form", "read", *arguments], input=data, capture_output=True, check=False)


def filled(**answers):
    text = subprocess.run([PROGRAM, "form", "blank"], capture_output=True, check=True).stdout.decode()
    for key, answer in {"unit-id": "HL-0147", "date": "18 March 2026", "odometer": "109k km", **answers}.items():
        line = text.index("Answer:", text.index(f"\n[{key}]"))
        text = text[:line] + "Answer: " + answer + text[text.index("\n", line):]
    return text.replace("[ ] it is showing now", "[x] it is showing now")


FORM = filled()


def page(text):
    """As mail programs write it: a block each line, and blanks that do not break."""
    lines = (html.escape(line).replace("  ", "&nbsp; ") or "<br>" for line in text.split("\n"))
    return "<html><head><title>[ ] yes</title></head><body>" + "".join(f"<div>{l}</div>" for l in lines) + "</body></html>"


def mail(text="Hello,\nhere it is.\n", **options):
    m = EmailMessage(policy=email.policy.SMTP)
    m["From"] = "Owner <owner@mail.invalid>"
    m["Subject"] = "Form"
    m.set_content(text, **options)
    return m


def attached(m, data, kind="text/plain", **options):
    main, sub = kind.split("/")
    m.add_attachment(data.encode() if isinstance(data, str) else data, maintype=main, subtype=sub, **options)
    return m


class Test(unittest.TestCase):
    def setUp(self):
        scratch = tempfile.TemporaryDirectory()
        self.addCleanup(scratch.cleanup)
        self.folder = scratch.name

    def path(self, name, data=None):
        path = os.path.join(self.folder, name)
        if data is not None:
            with open(path, "wb") as f:
                f.write(data if isinstance(data, bytes) else data.encode())
        return path

    def takes(self, data, records=RECORD):
        done = read(data=data.as_bytes() if isinstance(data, EmailMessage) else data)
        self.assertEqual((done.stdout.decode(), done.stderr.decode(), done.returncode), (records, "", 0))

    def refuses(self, data, said, records=""):
        done = read(data=data.as_bytes() if isinstance(data, EmailMessage) else data)
        self.assertEqual((done.stdout.decode(), done.stderr.decode(), done.returncode), (records, said, 3))


class Mails(Test):
    def test_body_and_attachments_in_each_encoding(self):
        for encoding in ("7bit", "quoted-printable", "base64"):
            self.takes(mail(FORM, cte=encoding))
            self.takes(mail(page(FORM), subtype="html", cte=encoding))
            self.takes(attached(mail(), FORM, filename="form.txt", cte=encoding))
        for kind, name in (("application/octet-stream", "form.txt"), ("application/octet-stream", "r.JSON"),
                           ("application/json", "r"), ("text/plain", None)):
            self.takes(attached(mail(), RECORD if "r" == (name or "")[:1] else FORM, kind, filename=name))

    def test_charsets(self):
        said = filled(**{"unit-id": "B\u00e4r \u201357"})
        record = RECORD.replace("HL-0147", "B\u00e4r \u201357")
        self.takes(mail(said, charset="utf-8"), record)
        self.takes(mail(said, charset="windows-1252"), record)
        self.takes(mail(said.replace("\u2013", "-"), charset="iso-8859-1"), record.replace("\u2013", "-"))
        # Said wrongly, or not at all, as by many programs.
        head = b"MIME-Version: 1.0\r\nContent-Type: text/plain%s\r\nContent-Transfer-Encoding: 8bit\r\n\r\n"
        for charset, bytes_ in ((b"; charset=iso-8859-1", "cp1252"), (b"", "utf-8"), (b"", "cp1252"),
                                (b"; charset=us-ascii", "utf-8"), (b"; charset=none-such", "utf-8")):
            self.takes(head % charset + said.encode(bytes_), record)
        self.takes(page(said).replace("<head>", "<head><meta charset='windows-1252'>").encode("cp1252"), record)

    def test_what_stands_twice_counts_once(self):
        m = mail(FORM)
        m.add_alternative(page(FORM), subtype="html")
        self.takes(attached(m, FORM, filename="form.txt"))
        whole = mail("See below.")
        whole.add_attachment(m)
        self.takes(whole)
        self.takes(attached(mail(), m.as_bytes(), "application/octet-stream", filename="back.eml"))
        self.takes(attached(attached(mail(FORM), RECORD, "application/json"), page(FORM), "text/html"))

    def test_a_mailbox(self):
        second = mail(filled(**{"unit-id": "HL-2"})).as_bytes()
        text = b"".join(b"From owner Mon Mar 16\n" + m + b"\n" for m in (mail(FORM).as_bytes(), second))
        self.takes(text, RECORD + RECORD.replace("HL-0147", "HL-2"))
        bad = mail(filled(date="03/04/2026")).as_bytes()
        self.refuses(b"From a\n" + bad + b"\nFrom b\n" + second,
                     '<stdin>, mail 1, part 1 (text):239:11: error[bad-value]: [date] is "03/04/2026", which may be '
                     "3 April 2026 or 4 March 2026\n  Answer: 03/04/2026\n          ^\n"
                     "  allowed: a day as in 2026-03-18 or 18 March 2026\n"
                     "  hint: write 2026-04-03 if it is the first of them\n", RECORD.replace("HL-0147", "HL-2"))

    def test_lines_that_a_mail_program_broke(self):
        record = RECORD.rstrip("\n")[:-1] + ',"note":"one two three"}\n'
        body = record.replace("two ", "two \n")
        head = "MIME-Version: 1.0\nContent-Type: text/plain; charset=utf-8; format=flowed\n\n"
        self.takes((head + body).encode(), record)
        self.takes((head + "> " + body.replace("\n", "\n> ")).encode(), record)
        self.takes((head.replace("flowed", "flowed; delsp=yes") + body.replace("two ", "two  ")).encode(), record)
        self.takes(quopri.encodestring((FORM.replace("HL-0147", "HL\u20130147")).encode()),
                   RECORD.replace("HL-0147", "HL\u20130147"))

    def test_what_is_no_form(self):
        m = attached(attached(mail("Form attached.\n"), b"\xff\xd8", "image/jpeg", filename="form.jpg"),
                     b"%PDF", "application/pdf", filename="a/form.pdf")
        hint = "  hint: if the form is in it, ask for it as text, or as the file that its page saved\n"
        pdf = ('<stdin>, part 3 "a_form.pdf": warning[not-read]: is not read: it is of the kind application/pdf\n' + hint)
        self.refuses(m, "<stdin>, part 1 (text):1:1: error[no-form]: " + NO_FORM + "  Form attached.\n  ^\n"
                     "  hint: a blank form comes from `dryshaft form blank`\n" + pdf +
                     '<stdin>, part 2 "form.jpg": warning[not-read]: is not read: it is of the kind image/jpeg\n' + hint)
        # Beside a form a picture is a picture.
        done = read(data=attached(m, FORM, filename="form.txt").as_bytes())
        self.assertEqual((done.returncode, done.stdout.decode(), done.stderr.decode()), (0, RECORD, pdf))

    def test_a_mail_that_was_cut_says_so(self):
        whole = attached(mail(FORM), RECORD.replace("HL-0147", "HL-2"), "application/json").as_bytes()
        self.takes(whole, RECORD + RECORD.replace("HL-0147", "HL-2"))
        self.refuses(whole[:whole.index(b"application/json") - 30],
                     "<stdin>:1:1: error[cut-short]: lacks the end of its parts: some of it may be lost\n"
                     "  From: Owner <owner@mail.invalid>\n  ^\n  hint: ask for it once more\n", RECORD)

    def test_nesting_and_sizes_are_bounded(self):
        m = mail(FORM)
        for _ in range(30):
            outer = mail("fwd")
            outer.add_attachment(m)
            m = outer
        done = read(data=m.as_bytes())
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"error[too-deep]: holds parts in parts, more than 20 deep, which are not read\n", done.stderr)
        m = mail(FORM)
        for i in range(510):
            m.add_attachment("x", filename=f"{i}.txt")
        self.assertIn(b"error[too-many]: holds more than 500 parts, which are not all read\n", read(data=m.as_bytes()).stderr)
        m = attached(mail(FORM), b" " * (17 << 20), filename="long.txt", cte="7bit")
        done = read(data=m.as_bytes())
        self.assertEqual((done.returncode, done.stdout.decode(), done.stderr.decode()), (
            3, RECORD, '<stdin>, part 2 "long.txt": error[too-large]: holds more than 16 MiB, the most that a part of '
                       "a mail may hold\n"))

    def test_damage_never_ends_the_program(self):
        m = mail(FORM)
        m.add_alternative(page(FORM), subtype="html", cte="quoted-printable")
        whole = attached(attached(m, RECORD, "application/json"), mail(FORM).as_bytes(), "text/plain", filename="a.eml")
        kinds = [whole.as_bytes(), page(FORM).encode(), b"From a\n" + whole.as_bytes(),
                 f'<p><script type="application/json" id="dryshaft-records">{RECORD}</script>'.encode()]
        chance = random.Random(20)
        paths = []
        for i in range(150):
            data = bytearray(chance.choice(kinds))
            for _ in range(chance.randrange(1, 12)):
                at = chance.randrange(len(data) or 1)
                way = chance.randrange(5)
                if not data:
                    break
                if way == 0:
                    data[at] = chance.randrange(256)
                elif way == 1:
                    del data[at:at + chance.randrange(200)]
                elif way == 2:
                    data[at:at] = data[chance.randrange(len(data)):][:300]
                elif way == 3:
                    data[at:at] = chance.choice([b"<div>" * 500, b"\0", b"\n--==\n", b"\r\n\r\n", b"=", b"]]>", b"<!--",
                                                 b"Content-Type: multipart/mixed; boundary=a\n\n--a\n", b"<script>"])
                else:
                    data = data[:max(at, 50)]
            paths.append(self.path(f"{i}.eml", bytes(data)))
        done = read(*paths)
        self.assertIn(done.returncode, (0, 3), done.stderr[-2000:])
        records = [json.loads(line) for line in done.stdout.splitlines()]
        self.assertGreater(len(records), 20)
        self.assertNotIn(b"\0", done.stderr)


class Pages(Test):
    def saved(self, text):
        return ('<!DOCTYPE html>\n<html><body><p>[x] "dryshaft-record/1"</p><script>if (a < b) {}</script>\n'
                f'<script id="dryshaft-records" type="application/json">{text}</script></body></html>').encode()

    def test_a_saved_page_is_its_records(self):
        other = RECORD.replace("HL-0147", "<b>\u201cHL")
        self.takes(self.saved(other.replace("<", "\\u003c")), other)
        self.takes(self.saved(f"\n[{RECORD},\n{RECORD}]\n"), RECORD * 2)
        self.takes(self.saved(RECORD + "\n" + RECORD), RECORD * 2)
        self.takes(attached(mail(), self.saved(RECORD), "text/html", filename="form.html"))
        self.refuses(self.saved(RECORD.replace('"active"', '"actve"')),
                     '<stdin>:3:199: error[bad-value]: /inspection/faults/isolation is "actve"\n'
                     '  "isolation":"actve"}}}\n              ^\n  allowed: none, stored, active\n'
                     '  hint: did you mean "active"?\n')
        self.refuses(self.saved(""), "<stdin>:3:78: error[no-form]: holds no form and no record\n"
                     "  hint: a blank form comes from `dryshaft form blank`\n")

    def test_a_copied_page_is_its_text(self):
        self.takes(page(FORM).encode())
        self.takes(html.escape(FORM).replace("\n", "<br>\n").encode())
        self.takes(f"<pre>{html.escape(FORM)}</pre>".encode())
        self.takes(f"<blockquote><blockquote>{page(FORM)}</blockquote></blockquote>".encode())
        self.takes(("<div>" * 5000 + page(FORM)).encode())
        self.takes(page(RECORD).encode())

    def test_how_people_mark_in_html(self):
        line = "<div>&nbsp; [x] it is showing now</div>"
        whole = page(FORM)
        self.assertIn(line, whole)
        for marked in ("[ ] <b>it is showing now</b>", "<span style='background: #ffff00'>[ ] it is showing now</span>",
                       "[<b>x</b>] it is showing now", "[x] <b>it is showing now</b>", "<b>[x]</b> it is showing now",
                       "[<span style='color:#ff0000'>x</span>] it is showing now"):
            self.takes(whole.replace(line, f"<div>{marked}</div>").encode())
        # All of them bold say nothing, nor does black.
        plain = RECORD.replace(',"faults":{"isolation":"active"}', "")
        empty = whole.replace("[x]", "[ ]", 2)  # the first is the form's own "like [x]"
        self.takes(f"<b>{empty}</b>".encode(), plain)
        self.takes(empty.replace("it is showing now", "<span style='color: rgb(0, 0, 0)'>it is showing now</span>").encode(),
                   plain)
        done = read(data=empty.replace("it is showing now", "<font color='red'>it is showing now</font>").encode())
        self.assertEqual(done.returncode, 3)
        self.assertIn(b'[faults-isolation] says "~" beside "it is showing now", and has no mark there\n', done.stderr)
        # What was struck out is not said.
        done = read(data=whole.replace("109k km", "<s>119k km</s> 109k km").encode())
        self.assertEqual((done.returncode, done.stdout.decode()), (0, RECORD))
        self.assertEqual(read(data=whole.replace(line, f"<s>{line}</s>").encode()).returncode, 3)


class Letters(Test):
    def test_each_owner_gets_what_assess_writes(self):
        one = self.path("one.eml", mail(FORM).as_bytes())
        two = self.path("two.eml", mail(filled(**{"unit-id": "HL-2", "date": "20.2.2026"})).as_bytes())
        bad = self.path("bad.eml", mail("Hello.").as_bytes())
        core = RECORD.replace("HL-0147", "core").replace('"by":"owner"', '"by":"intake","teardown":{"date":"2026-03-01"}')
        out = self.path("records.jsonl")
        for units in ([], ["--units", "mi"]):
            done = read("--letters", self.path("letters"), "--out", out, *units, one, bad, two, "-", data=core.encode())
            self.assertEqual(done.returncode, 3)
            self.assertIn(b"bad.eml, part 1 (text):1:1: error[no-form]: " + NO_FORM.encode(), done.stderr)
            with open(out, encoding="utf-8") as f:
                records = f.read()
            assessed = subprocess.run([PROGRAM, "assess", "--letters", self.path("assessed"), *units, "-"],
                                      input=records.encode(), capture_output=True, check=False)
            names = sorted(os.listdir(self.path("letters")))
            self.assertEqual(names, sorted(os.listdir(self.path("assessed"))))
            self.assertIn("HL-0147.html", names)
            self.assertEqual(assessed.stderr.decode().splitlines()[-1:],
                             [l for l in done.stderr.decode().splitlines() if "no letter" in l])
            for name in names:
                pages = []
                for folder in ("letters", "assessed"):
                    with open(os.path.join(self.path(folder), name), encoding="utf-8") as f:
                        pages.append(re.sub(r"(?:<stdin>|&lt;stdin&gt;|/[^ ]*\.eml, part 1 \(text\)):\d+", "FILE", f.read()))
                self.assertEqual(pages[0], pages[1])
                self.assertEqual(["HL-2" in pages[0], "HL-0147" in pages[0]], ["HL-2" in name, "HL-0147" in name])

    def test_every_write_is_checked(self):
        os.makedirs(self.path("letters/HL-0147.html"))
        done = read("--letters", self.path("letters"), data=(FORM + filled(**{"unit-id": "HL-2"})).encode())
        self.assertEqual(done.returncode, 4)
        self.assertIn(b"HL-0147.html: error[output]: cannot be written", done.stderr)
        self.assertTrue(os.path.isfile(self.path("letters/HL-2.html")))
        self.assertEqual(done.stdout.count(b"\n"), 2)
        self.assertEqual(read("--letters", self.path("letters"), "--out", "/no/such/folder/x", data=FORM.encode()).returncode, 4)


if __name__ == "__main__":
    unittest.main()

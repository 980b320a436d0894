"""Noise recordings on the command line: good ones, bad ones, and how mistakes are told.

Usage: listen_program_test.py PROGRAM

Recordings are made here, save the real ones in ../shared/checks/recordings, which are looked at
where they are present.
"""
import json
import math
import os
import random
import shutil
import struct
import subprocess
import sys
import tempfile
import unittest
import wave

from command_line import families

PROGRAM = os.path.abspath(sys.argv.pop(1))
REAL = os.path.join("..", "shared", "checks", "recordings")
RATE = 12000
RPM = 1620
BEARING = "rear=11:6.2:43.5:0"
PLAIN = ["--rotor-rpm", str(RPM), "--bearing", BEARING]
UNIT = ["--family", "plover-2", "--vehicle", "Tarn"]


def run(*arguments, text=b""):
    return subprocess.run([PROGRAM, "listen", *arguments], input=text, capture_output=True, check=False)


def inner_race(seconds=10, fault=1.0, seed=1):
    """Noise, and where `fault` is above 0 the ringing of a bad place on the inner race."""
    draw = random.Random(seed)
    turns = RPM / 60
    r = 6.2 / 43.5
    passes = 11 / 2 * (1 + r) * turns
    samples = [draw.gauss(0, 0.05) for _ in range(int(seconds * RATE))]
    at = 0.0
    while fault > 0 and at < seconds:
        height = fault * 0.3 * (1 + 0.8 * math.cos(2 * math.pi * turns * at))
        begin = int(at * RATE)
        for i in range(begin, min(begin + 40, len(samples))):
            t = (i - begin) / RATE
            samples[i] += height * math.exp(-t * 900) * math.sin(2 * math.pi * 3000 * t)
        at += 1 / passes * (1 + draw.gauss(0, 0.005))
    return samples


def in_16_bit(samples):
    return struct.pack(f"<{len(samples)}h", *(max(-32768, min(32767, round(x * 32767))) for x in samples))


class Files(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.scratch = tempfile.TemporaryDirectory()
        cls.good = cls.wav("good.wav", [inner_race()])
        cls.quiet = cls.wav("noise.wav", [inner_race(fault=0)])

    @classmethod
    def tearDownClass(cls):
        cls.scratch.cleanup()

    @classmethod
    def path(cls, name, content=None):
        path = os.path.join(cls.scratch.name, name)
        if content is not None:
            with open(path, "wb") as file:
                file.write(content)
        return path

    @classmethod
    def wav(cls, name, channels, rate=RATE):
        path = cls.path(name)
        with wave.open(path, "wb") as file:
            file.setnchannels(len(channels))
            file.setsampwidth(2)
            file.setframerate(rate)
            file.writeframes(in_16_bit([x for frame in zip(*channels) for x in frame]))
        return path

    def refused(self, path, what, *arguments):
        done = run(path, *(arguments or PLAIN))
        self.assertEqual((done.returncode, done.stdout), (3, b""), done.stderr)
        self.assertEqual(done.stderr.decode(), what.replace("PATH", path))

    def usage(self, message, *arguments):
        done = run(*arguments)
        self.assertEqual((done.returncode, done.stdout), (2, b""), done.stderr)
        self.assertEqual(done.stderr.decode(), f"dryshaft: {message}\n")

    def report(self, *arguments, code=0):
        done = run(*arguments, "--format", "json")
        self.assertEqual(done.returncode, code, done.stderr)
        return [json.loads(line) for line in done.stdout.splitlines()]


class Good(Files):
    def test_a_fault_is_named(self):
        report, = self.report(self.good, *PLAIN)
        first = report["attributions"][0]
        self.assertEqual((first["part"], first["kind"]), ("rear", "inner-race"))
        self.assertLess(abs(first["slip_percent"]), 1.5)
        self.assertTrue(report["clear"])
        self.assertEqual(report["recording"],
                         {"source": self.good, "rate_hz": RATE, "seconds": 10, "channel": 1, "channels": 1})
        text = run(self.good, *PLAIN).stdout.decode()
        self.assertRegex(text, r"\AThe inner race of rear fits, (very clearly|clearly|faintly)\.\n")
        self.assertTrue(all(len(line) <= 80 for line in text.splitlines()), text)

    def test_noise_names_nothing(self):
        report, = self.report(self.quiet, *PLAIN)
        self.assertEqual((report["clear"], report["attributions"]), (False, []))
        self.assertTrue(run(self.quiet, *PLAIN).stdout.startswith(
            b"No line is clear enough to name a part.\n"))

    def test_formats_and_out(self):
        out = self.path("report.html")
        done = run(self.good, *PLAIN, "--format", "html", "--out", out)
        self.assertEqual((done.returncode, done.stdout, done.stderr), (0, b"", b""))
        with open(out, encoding="utf-8") as file:
            page = file.read()
        self.assertTrue(page.startswith("<!DOCTYPE html>"))
        self.assertIn("<h1>", page)
        self.assertNotIn("<script", page)
        self.assertLess(len(page), 400000)
        self.assertTrue(run(self.good, *PLAIN, "--format", "markdown").stdout.startswith(b"# The inner race"))
        self.assertEqual(run(self.good, *PLAIN).stdout, run(self.good, *PLAIN).stdout)
        self.assertEqual(run(self.good, *PLAIN, "--out", "/no/such/folder/x").returncode, 4)
        if os.path.exists("/dev/full"):
            with open("/dev/full", "wb") as full:
                done = subprocess.run([PROGRAM, "listen", self.good, *PLAIN], stdout=full,
                                      stderr=subprocess.PIPE, check=False)
            self.assertEqual(done.returncode, 4)

    def test_a_bad_one_does_not_lose_the_others(self):
        bad = self.path("prose.wav", b"this is no sound\n")
        out = self.path("all.json")
        done = run(self.good, bad, self.quiet, *PLAIN, "--format", "json", "--out", out)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"prose.wav: error[not-sound]", done.stderr)
        with open(out, encoding="utf-8") as file:
            sources = [json.loads(line)["recording"]["source"] for line in file]
        self.assertEqual(sources, [self.good, self.quiet])
        # With no good one, an old report is left alone.
        self.assertEqual(run(bad, *PLAIN, "--out", out).returncode, 3)
        with open(out, encoding="utf-8") as file:
            self.assertTrue(file.read().startswith('{"format":"dryshaft-noise/1"'))

    def test_a_dead_side(self):
        sound = inner_race()
        stereo = self.wav("stereo.wav", [[0.0] * len(sound), sound])
        report, = self.report(stereo, *PLAIN)
        self.assertEqual(report["attributions"][0]["kind"], "inner-race")
        self.assertEqual((report["recording"]["channel"], report["recording"]["channels"]), (2, 2))
        self.assertIn("Channel 1 of 2 is silent; channel 2 was used.", report["limits"])
        self.refused(stereo, "PATH: error[dead-channel]: channel 1 is silent; channel 2 is not\n"
                     "  hint: --channel 2\n", *PLAIN, "--channel", "1")
        self.refused(stereo, "PATH: error[no-channel]: has 2 channels, so there is no channel 3\n"
                     "  hint: channels are counted from 1\n", *PLAIN, "--channel", "3")
        one, = self.report(stereo, *PLAIN, "--channel", "2")
        self.assertEqual(one["attributions"], report["attributions"])

    def test_clipping_is_a_limit_or_too_much(self):
        loud = self.wav("loud.wav", [[10 * (x + 0.12 * math.sin(i / 60)) for i, x in
                                      enumerate(inner_race())]])
        report, = self.report(loud, *PLAIN)
        self.assertTrue(any("of the samples are clipped" in limit for limit in report["limits"]),
                        report["limits"])
        fastest = self.wav("fastest.wav", [[1.0 if i % 2 else -1.0 for i in range(5 * RATE)]])
        self.refused(fastest, "PATH: error[clipped]: is overdriven: 100 % of its samples are clipped\n"
                     "  hint: record again at a lower level\n")
        square = self.wav("square.wav", [[1.0 if i // 20 % 2 else -1.0 for i in range(5 * RATE)]])
        self.refused(square, "PATH: error[clipped]: is overdriven: 100 % of its samples are clipped\n"
                     "  hint: record again at a lower level\n")


    def test_a_sound_that_repeats_itself_names_nothing(self):
        looped = self.wav("looped.wav", [inner_race(3) * 3])
        report, = self.report(looped, *PLAIN)
        self.assertEqual((report["clear"], report["attributions"], report["left_open"]),
                         (False, [], "repeats"))
        self.assertIn(("rear", "inner-race"),
                      [(c["part"], c["kind"]) for c in report["considered"]])
        self.assertTrue(run(looped, *PLAIN).stdout.startswith(
            b"No part is named: the recording repeats itself exactly.\n"))
        once, = self.report(self.good, *PLAIN)
        self.assertIsNone(once["left_open"])


class Bad(Files):
    NOT_SOUND = ("  allowed: WAV, FLAC, OGG\n"
                 "  hint: convert it to WAV or FLAC, and change neither rate nor level\n")

    def test_no_files(self):
        self.refused(self.path("none.wav"), "PATH: error[no-input]: cannot be read: No such file or directory\n")
        self.refused(self.scratch.name, "PATH: error[no-input]: is a folder\n"
                     "  hint: name the recordings in it\n")
        self.refused(self.path("empty.wav", b""), "PATH: error[no-sound]: is empty\n")
        hint = "  hint: a recording is read twice: save it as a file, then name that file\n"
        self.refused("-", "<stdin>: error[no-input]: a recording cannot come from standard input\n" + hint)
        pipe = self.path("pipe.wav")
        os.mkfifo(pipe)
        self.refused(pipe, "PATH: error[no-input]: is a pipe or a device\n" + hint)

    def test_not_sound(self):
        for name, content in (("prose.wav", b"this is no sound, whatever its name says\n" * 30),
                              ("prose.gsm", b"a kind without a header is no kind\n" * 30),
                              ("table.csv", b"seconds,km_per_h\n0,30\n"),
                              ("zeros.wav", bytes(5000))):
            done = run(self.path(name, content), *PLAIN)
            self.assertEqual((done.returncode, done.stdout), (3, b""), name)
            self.assertIn(b"error[not-sound]: is no recording ", done.stderr)
            self.assertTrue(done.stderr.endswith(self.NOT_SOUND.encode()), done.stderr)
        # Of these libsndfile's own libraries would write what they think of them.
        for head in (b"\xff\xfb\x90\x00", b"ID3\x04\0\0\0\0\0\0"):
            self.refused(self.path("phone.mp3", head + bytes(range(256)) * 20),
                         "PATH: error[not-sound]: is no recording of a kind that is read\n"
                         + self.NOT_SOUND)
        self.refused(self.path("phone.m4a", bytes(4) + b"ftypM4A " + bytes(500)),
                     "PATH: error[not-sound]: is no recording that can be read: MPEG-4 audio is not read\n"
                     + self.NOT_SOUND)

    def test_lengths(self):
        with open(self.good, "rb") as file:
            whole = file.read()
        size = len(whole)
        hint = ("  hint: copy it again from the recorder; if it was cut off, save it again with an audio "
                "editor\n")
        self.refused(self.path("cut.wav", whole[:size // 4]),
                     "PATH: error[truncated]: is cut short: its header promises 10.0 s of audio, the file "
                     "holds 2.5 s of audio\n" + hint)

        def with_lengths(name, of_file=size - 8, of_sound=size - 44):
            return self.path(name, whole[:4] + struct.pack("<I", of_file) + whole[8:40]
                             + struct.pack("<I", of_sound) + whole[44:])

        self.assertEqual(run(with_lengths("true.wav"), *PLAIN).returncode, 0)
        self.refused(with_lengths("boast.wav", of_sound=2 * size),
                     "PATH: error[truncated]: is cut short: its header promises 20.0 s of audio, the file "
                     "holds 10.0 s of audio\n" + hint)
        anew = "  hint: save it again with an audio editor, and see that it is whole\n"
        self.refused(with_lengths("humble.wav", of_sound=120000),
                     "PATH: error[bad-length]: its header promises 5.0 s of audio, but the file goes on: "
                     "120,000 bytes follow that are no part of it\n" + anew)
        self.refused(with_lengths("both.wav", of_file=120036, of_sound=120000),
                     "PATH: error[bad-length]: its header promises 5.0 s of audio, but the file goes on: "
                     "120,000 bytes follow that are no part of it\n" + anew)
        self.refused(with_lengths("stopped.wav", of_file=0xFFFFFFFF, of_sound=0xFFFFFFFF),
                     "PATH: error[bad-length]: does not say how long it is: the recorder did not end it\n"
                     + anew)
        self.refused(self.wav("nothing.wav", [[]]), "PATH: error[no-sound]: holds no audio: it is 0 s long\n")

    def test_rates(self):
        sound = inner_race(1)
        for rate in (200, 4000000):
            self.refused(self.wav(f"rate{rate}.wav", [sound], rate=rate),
                         f"PATH: error[bad-rate]: its header says {rate} samples a second\n"
                         "  allowed: 2000 to 1000000\n")

    def test_silence_and_too_little(self):
        for name, samples, code in (("silence.wav", [0.0] * (5 * RATE), b"error[silent]"),
                                    ("constant.wav", [0.25] * (5 * RATE), b"error[silent]"),
                                    ("short.wav", inner_race(0.3), b"error[too-short]")):
            path = self.wav(name, [samples])
            for arguments in (PLAIN, UNIT + ["--rotor-rpm", str(RPM)]):
                done = run(path, *arguments)
                self.assertEqual((done.returncode, done.stdout), (3, b""), (name, done.stderr))
                self.assertTrue(done.stderr.startswith(path.encode() + b": "), done.stderr)
                self.assertIn(code, done.stderr, name)
        slow = run(self.good, "--rotor-rpm", "10", "--bearing", BEARING)
        self.assertEqual((slow.returncode, slow.stdout), (3, b""))

    def test_samples_that_are_no_numbers(self):
        samples = inner_race(2)
        samples[5000] = math.nan
        data = struct.pack(f"<{len(samples)}f", *samples)
        head = b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 3, 1, RATE, 4 * RATE, 4, 32) + b"data"
        path = self.path("float.wav", b"RIFF" + struct.pack("<I", len(head) + 4 + len(data)) + head
                         + struct.pack("<I", len(data)) + data)
        self.refused(path, "PATH: error[bad-sample]: sample 5001 (at 0.417 s) is not a number\n"
                     "  hint: save it again in whole numbers, such as 16 bit\n")

    @unittest.skipUnless(shutil.which("flac"), "flac is not installed")
    def test_flac_cut_short(self):
        flac = self.path("good.flac")
        subprocess.run(["flac", "--silent", "-f", "-o", flac, self.good], check=True)
        self.assertEqual(run(flac, *PLAIN).returncode, 0)
        with open(flac, "rb") as file:
            content = file.read()
        done = run(self.path("cut.flac", content[:len(content) // 2]), *PLAIN)
        self.assertEqual((done.returncode, done.stdout), (3, b""), done.stderr)

    @unittest.skipUnless(shutil.which("flac"), "flac is not installed")
    def test_flac_whose_header_lies(self):
        flac = self.path("good.flac")
        subprocess.run(["flac", "--silent", "-f", "-o", flac, self.good], check=True)
        with open(flac, "rb") as file:
            content = bytearray(file.read())
        self.assertEqual(int.from_bytes(content[22:26], "big"), 120000)
        for samples, told in [(60000, "error[bad-length]: its header promises 5.0 s of audio, the file holds 10.0 s"),
                              (180000, "error[truncated]: is cut short: its header promises 15.0 s of audio, the "
                                       "file holds 10.0 s")]:
            content[22:26] = samples.to_bytes(4, "big")
            lies = self.path("lies.flac", bytes(content))
            done = run(lies, *PLAIN)
            self.assertEqual((done.returncode, done.stdout), (3, b""))
            self.assertIn(told, done.stderr.decode())


class Usage(Files):
    def test_what_to_listen_for(self):
        self.usage("name what to listen for: --family ID for a drive unit, or --rotor-rpm N with --bearing "
                   "n:d:D:angle", self.good)
        self.usage("--bearing needs --rotor-rpm: the turns a minute of its shaft",
                   self.good, "--bearing", BEARING)
        self.usage("--tyre is for a drive unit; with --bearing, only the speed --rotor-rpm of its shaft is "
                   "needed", self.good, *PLAIN, "--tyre", "225/50R16")
        self.usage("--bearing: \"11:6.2:43.5\" is no bearing: it has 3 numbers, not 4; write n:d:D:angle, as "
                   "in 11:6.2:43.5:0", self.good, "--rotor-rpm", "1620", "--bearing", "11:6.2:43.5")
        self.usage("--bearing: two are called \"rear\"", self.good, *PLAIN, "--bearing", "rear=8:1:5:0")
        self.assertEqual(run().returncode, 2)
        self.assertEqual(run(self.good, *PLAIN, "--format", "pdf").returncode, 2)
        self.assertEqual(run(self.good, *PLAIN, "--channel", "0").returncode, 2)

    def test_geometry(self):
        def bearing(text, what):
            self.usage(f'--bearing: "{text}" is no bearing: {what}; write n:d:D:angle, as in 11:6.2:43.5:0',
                       self.good, "--rotor-rpm", "1620", "--bearing", text)

        # Taken as they are, each of these would be looked for until the end of days.
        bearing("9:1e-300:39:0", "the element diameter d is 1e-300 and the pitch diameter D 39; both must be "
                "from 0.001 to 100000")
        bearing("1e3:1:1000000:0", "n, the number of elements, is 1000; it must be a whole number from 3 to 200")
        bearing("9:1:1000:0", "the pitch diameter D is 1000 times the element diameter d; it must be 1.25 to 100 "
                "times")
        bearings = [text for i in range(17) for text in ("--bearing", f"b{i}={BEARING.split('=')[1]}")]
        self.usage("--bearing: there are 17 bearings; at most 16 are looked at", self.good, "--rotor-rpm", "1620",
                   *bearings)
        self.assertEqual(run(self.good, "--rotor-rpm", "1620", *bearings[2:]).returncode, 0)

    def test_geometry_of_a_family(self):
        with open(os.path.join("data", "families", "plover-2.json"), encoding="utf-8") as file:
            plover = file.read()
        pairs = '"gears": [{"driving": 29, "driven": 76}, {"driving": 23, "driven": 79}]'
        for name, was, now, told in (
                ("tiny", '"element_diameter_mm": 9.525, "pitch_diameter_mm": 46', '"element_diameter_mm": 1e-9, '
                 '"pitch_diameter_mm": 46',
                 "error[bad-value]: /machine/rotor_bearings/0 is no bearing: the element diameter d is 1e-09 and "
                 "the pitch diameter D 46; both must be from 0.001 to 100000"),
                ("geared", pairs, '"gears": [' + ", ".join(['{"driving": 29, "driven": 29}'] * 1000) + "]",
                 "error[bad-value]: /machine/gears is no gearing: there are 1000 gear pairs; at most 8 are looked at"),
                ("slow", pairs, '"gears": [{"driving": 1, "driven": 1000}]',
                 "error[bad-value]: /machine/gears is no gearing: one shaft turns 1000 times as fast as another; at "
                 "most 100 times are looked at")):
            self.assertIn(was, plover)
            folder = os.path.join(self.scratch.name, name)
            shutil.copytree(os.path.join("data", "families"), folder)
            with open(os.path.join(folder, "plover-2.json"), "w", encoding="utf-8") as file:
                file.write(plover.replace(was, now, 1))
            done = run(self.quiet, *UNIT, "--rotor-rpm", "4600", "--families", folder)
            self.assertEqual((done.returncode, done.stdout), (3, b""), name)
            self.assertIn(told, done.stderr.decode())

    def test_families(self):
        self.usage("there is no family \"plover-3\", did you mean \"plover-2\"?; families: "
                   f"{families()}", self.good, "--family", "plover-3")
        self.usage("there is no vehicle \"Tarne\", did you mean \"Tarn\"?; vehicles of plover-2: Corrie, Tarn",
                   self.good, "--family", "plover-2", "--vehicle", "Tarne")
        self.usage("the profile of family generic holds no motor, gears and bearings, so a recording "
                   "cannot be compared with it", self.good, "--family", "generic")
        self.usage("--tyre is \"big\", not a size such as 225/50R16", self.good, *UNIT, "--tyre", "big")

    def test_speeds(self):
        self.usage("give one of --rotor-rpm, --speed, --mark and --trace",
                   self.good, *UNIT, "--speed", "60", "--mark", "0:05=30")
        self.usage("--speed: \"60 knots\" is no speed: \"60 knots\" is no number; write 60km/h, 40mph",
                   self.good, *UNIT, "--speed", "60 knots")
        self.usage("--speed is a road speed, which needs the size of the tyre: name --vehicle or --tyre",
                   self.good, "--family", "plover-2", "--speed", "60")
        self.usage("--mark: \"5=30\" is no mark: \"5\" is not a time; write MINUTES:SECONDS=SPEED, as in "
                   "0:05=30 or 0:05=20mph", self.good, *UNIT, "--mark", "5=30")
        self.usage("--mark: two speeds are given at 0:05.0",
                   self.good, *UNIT, "--mark", "0:05=30", "--mark", "0:05=40")
        self.usage(f"--mark: 1:20.0 lies beyond the end of {self.good}, which lasts 0:10.0",
                   self.good, *UNIT, "--mark", "0:05=30", "--mark", "1:20=70")
        nearly = self.wav("nearly.wav", [[math.sin(i) for i in range(int(59.97 * RATE))]])
        self.usage(f"--mark: 2:00.0 lies beyond the end of {nearly}, which lasts 1:00.0",
                   nearly, *UNIT, "--mark", "0:05=30", "--mark", "2:00=70")
        self.usage("--speed: with this tyre and gearing, 500 km/h is 968359 turns a minute of the rotor; it may be "
                   "at most 200000", self.good, "--family", "plover-2", "--tyre", "1/1R1", "--speed", "500")
        self.usage("--mark: the car stands still throughout", self.good, *UNIT, "--mark", "0:05=0")
        self.usage("--rotor-rpm is -5; it must be above 0 and at most 200000",
                   self.good, *UNIT, "--rotor-rpm", "-5")
        self.usage("--false-alarm is 0.9; it must be above 0 and at most 0.5",
                   self.good, *PLAIN, "--false-alarm", "0.9")
        self.usage("--load: 0:02.0 to 0:05.0 and 0:04.0 to 0:08.0 overlap", self.good, *UNIT,
                   "--load", "0:04-0:08=steady", "--load", "0:02-0:05=accelerating")
        self.usage("--load: \"0:02-0:05=coastin\" is no load: \"coastin\" is none of accelerating, steady, "
                   "coasting; did you mean \"coasting\"?; write FROM-TO=LOAD, as in "
                   "0:05-0:12=accelerating", self.good, *UNIT, "--load", "0:02-0:05=coastin")
        self.usage("--mark, --trace, --load and --into belong to one recording; 2 are named",
                   self.good, self.quiet, *UNIT, "--mark", "0:05=30")

    def test_traces(self):
        bad = self.path("bad.csv", b"seconds,km_per_h\n0,30\n1,fast\n")
        done = run(self.good, *UNIT, "--trace", bad)
        self.assertEqual((done.returncode, done.stdout), (3, b""))
        self.assertEqual(done.stderr.decode(),
                         f"{bad}:3:3: error[bad-number]: \"fast\" is no number\n  1,fast\n    ^\n")
        done = run(self.good, *UNIT, "--trace", self.path("none.csv"))
        self.assertEqual(done.returncode, 3)

    def test_help(self):
        done = run("--help")
        self.assertEqual(done.returncode, 0)
        for word in (b"--mark", b"--trace", b"--bearing", b"--into", b"Examples"):
            self.assertIn(word, done.stdout)


class DriveUnit(Files):
    def test_an_hour_of_sound_between_two_short_ones(self):
        """The sanitized build runs this too: a low rate and a low speed keep it short."""
        rate = 6000
        half_as_loud = bytes(64 + i // 2 for i in range(256))
        hour = self.path("hour.wav")
        with wave.open(hour, "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(1)
            file.setframerate(rate)
            file.writeframes(random.Random(1).randbytes(3600 * rate).translate(half_as_loud))
        reports = self.report(self.good, hour, self.quiet, *UNIT, "--rotor-rpm", "1500")
        self.assertEqual([r["recording"]["source"] for r in reports], [self.good, hour, self.quiet])
        self.assertEqual(reports[1]["recording"]["seconds"], 3600)
        self.assertEqual((reports[1]["clear"], reports[1]["left_open"]), (False, None))
        self.assertEqual(reports[1]["speed"]["rpm"]["mean"], 1500)

    def test_speeds_are_turned_into_turns(self):
        trace = self.path("trace.csv", b"seconds,mph\n0,37\n10,38\n")
        for arguments, basis in ((["--speed", "60km/h"], "constant"), (["--rotor-rpm", "4600"], "constant"),
                                 (["--mark", "0:01=58", "--mark", "0:09=62"], "marks"),
                                 (["--trace", trace], "trace"), ([], "estimated")):
            report, = self.report(self.quiet, *UNIT, *arguments)
            self.assertEqual(report["speed"]["basis"], basis)
            self.assertFalse(report["clear"])
            self.assertIn("tyre 225/50R16", report["held_against"])
            if arguments:
                # 0.97 pi 631.4 mm rolled in a turn, 9 turns of the rotor for one of the wheel.
                self.assertAlmostEqual(report["speed"]["given_rpm"], 4600, delta=150)
                # No line confirms it, so it is used as given.
                self.assertEqual(report["speed"]["given_rpm"], report["speed"]["rpm"]["mean"])
        other, = self.report(self.quiet, "--family", "plover-2", "--tyre", "215/65R17", "--speed", "60")
        same, = self.report(self.quiet, "--family", "plover-2", "--vehicle", "Corrie", "--speed", "60")
        self.assertEqual(other["speed"], same["speed"])


class Into(Files):
    RECORD = ('{"format":"dryshaft-record/1","unit":{"id":"HL-0147","family":"plover-2","vehicle":"Tarn"},'
              '"inspection":{"date":"2026-03-16","noise":{"present":true}},"x_bay":"3"}\n')

    def record(self, name, text=RECORD):
        return self.path(name, text.encode())

    def read(self, path):
        with open(path, encoding="utf-8") as file:
            return file.read()

    def test_the_finding_goes_into_the_record(self):
        record = self.record("one.json")
        done = run(self.quiet, "--into", record, "--rotor-rpm", "4600")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertTrue(done.stdout.startswith(b"No line is clear enough to name a part.\n"))
        self.assertIn(b": now says of the recording: rotor bearings in the recording: none, ", done.stderr)
        now = self.read(record)
        self.assertEqual(json.loads(now)["inspection"]["recording"],
                         {"rotor_bearing": "none", "gear_bearing": "none", "other": "none"})
        before = json.loads(self.RECORD)
        after = json.loads(now)
        del after["inspection"]["recording"]
        self.assertEqual(before, after)
        graded = subprocess.run([PROGRAM, "assess", record], capture_output=True, check=False)
        self.assertEqual((graded.returncode, graded.stderr), (0, b""))
        # Once more: the same again.
        self.assertEqual(run(self.quiet, "--into", record, "--rotor-rpm", "4600").returncode, 0)
        self.assertEqual(self.read(record), now)

    def test_an_open_speed_writes_nothing(self):
        record = self.record("open.json")
        done = run(self.quiet, "--into", record)
        self.assertEqual(done.returncode, 3, done.stderr)
        self.assertEqual(done.stderr.decode(),
                         f"{self.quiet}: error[nothing-found]: leaves its speed open, so {record} stays as it "
                         "is\n  hint: give the speed: --mark, --speed, --rotor-rpm or --trace\n")
        self.assertEqual(self.read(record), self.RECORD)

    def slow_clicks(self):  # as often as a wheel turns, nine times slower than the rotor
        def clicks(i):  # each a little off
            return 0.8 * math.exp(-i / 20) * math.sin(1.2 * i)
        draw = random.Random(2)
        slow = [draw.gauss(0, 0.05) for _ in range(10 * RATE)]
        at = 0.01
        while at < 9.9:
            for i in range(100):
                slow[int(at * RATE) + i] += clicks(i)
            at += 9 * 60 / 4600 * (1 + draw.gauss(0, 0.001))
        return slow

    def test_the_rhythm_of_a_wheel_is_the_wheels(self):
        record = self.record("wheel.json")
        path = self.wav("wheel.wav", [self.slow_clicks()])
        done = run(path, "--into", record, "--rotor-rpm", "4600")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(done.stderr.decode(), f"{record}: now says of the recording: other source in "
                         "the recording: wheel\n")
        self.assertTrue(done.stdout.decode().startswith(
            "The wheel or tyre would fit, if the speed is right.\n"), done.stdout)
        # A bearing's lines would go unseen among so many: nothing is said of them.
        self.assertEqual(json.loads(self.read(record))["inspection"]["recording"], {"other": "wheel"})

    def test_a_sound_that_fits_nearly_everything_writes_nothing(self):
        record = self.record("everything.json")
        comb = [(i * 7919 % 2001 - 1000) / 32768 for i in range(10 * RATE)]
        path = self.wav("comb.wav", [comb])
        why = "repeats itself exactly"
        done = run(path, "--into", record, "--rotor-rpm", "4600")
        self.assertEqual(done.returncode, 3, done.stderr)
        self.assertEqual(done.stderr.decode(),
                         f"{path}: error[nothing-found]: {why}, so {record} stays as it is\n"
                         "  hint: record the drive unit again, with nothing else running\n")
        self.assertTrue(done.stdout.decode().startswith(f"No part is named: the recording {why}.\n"),
                        done.stdout)
        self.assertEqual(self.read(record), self.RECORD)

    def test_which_inspection(self):
        two = self.RECORD + self.RECORD.replace("HL-0147", "HL-0150")
        record = self.record("two.jsonl", two)
        done = run(self.quiet, "--into", record, "--rotor-rpm", "4600")
        self.assertEqual((done.returncode, done.stdout), (3, b""))
        self.assertIn(b"error[which-record]", done.stderr)
        done = run(self.quiet, "--into", record, "--rotor-rpm", "4600", "--unit", "HL-0150")
        self.assertEqual(done.returncode, 0, done.stderr)
        lines = self.read(record).splitlines()
        self.assertEqual(lines[0] + "\n", self.RECORD)
        self.assertIn('"recording"', lines[1])

    def test_the_record_is_not_lost_to_the_report(self):
        record = self.record("one.json")
        same = record + ".same"
        os.link(record, same)
        self.usage("--out and --into name the same file",
                   self.quiet, "--into", record, "--rotor-rpm", "4600", "--out", same)
        self.assertEqual(self.read(record), self.RECORD)

    def test_mistakes(self):
        record = self.record("mistakes.json")
        self.usage("--into names a file: the record in it is written anew", self.quiet, "--into", "-")
        self.usage("--unit and --date choose the inspection for --into", self.quiet, *UNIT, "--unit", "HL-0147")
        self.usage("--date is \"soon\", not a date YYYY-MM-DD", self.quiet, "--into", record, "--date", "soon")
        self.usage(f"--family is dunlin-1, but the unit in {record} has plover-2",
                   self.quiet, "--into", record, "--family", "dunlin-1")
        nameless = self.record("nameless.json", self.RECORD.replace(',"family":"plover-2","vehicle":"Tarn"', ""))
        self.usage(f"{nameless} does not name the family of its unit: name it with --family",
                   self.quiet, "--into", nameless)
        broken = self.record("broken.json", self.RECORD.replace("true", "maybe"))
        done = run(self.quiet, "--into", broken)
        self.assertEqual((done.returncode, done.stdout), (3, b""))
        self.assertEqual(run(self.quiet, "--into", self.path("no-record.json")).returncode, 3)


@unittest.skipUnless(os.path.isdir(REAL), f"skipped: there is no {REAL}")
class Real(unittest.TestCase):
    def test_race_faults_are_named_first_and_nothing_else(self):
        with open(os.path.join(REAL, "index.json"), encoding="utf-8") as file:
            index = json.load(file)
        self.assertEqual(len(index), 10)
        for one in index:
            b = one["bearing"]
            done = run(os.path.join(REAL, one["file"]), "--rotor-rpm", str(one["rpm"]), "--bearing",
                       f"test={b['n']}:{b['d']}:{b['D']}:{b['contact_deg']}", "--format", "json")
            with self.subTest(file=one["file"]):
                self.assertEqual(done.returncode, 0, done.stderr)
                kinds = [a["kind"] for a in json.loads(done.stdout)["attributions"]]
                wanted = {"BPFI": ["inner-race"], "BPFO": ["outer-race"]}.get(one["fault"], [])
                self.assertEqual(kinds[:1], wanted)


if __name__ == "__main__":
    unittest.main()

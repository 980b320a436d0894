// Speeds, loads, traces and WAV headers as people and recorders write them.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <limits>
#include <random>
#include <span>
#include <vector>

#include "dryshaft/noise_input.hpp"

namespace dryshaft {
namespace {

template <typename T>
std::string why_not(const Result<T>& result) {
  REQUIRE_FALSE(result.value);
  std::string all;
  for (const Diagnostic& d : result.diagnostics) {
    all += to_text(d);
  }
  return all;
}

TEST_CASE("a speed on the command line") {
  CHECK(*parse_speed("60").value == 60);
  CHECK(*parse_speed("60km/h").value == 60);
  CHECK(*parse_speed(" 62.5 km/h").value == 62.5);
  CHECK(*parse_speed("40mph").value == Approx(64.37376).epsilon(1e-12));
  CHECK(why_not(parse_speed("fast")) ==
        "error[bad-value]: \"fast\" is no speed: \"fast\" is no number\n  hint: 60km/h, 40mph\n");
  CHECK(parse_speed("").diagnostics[0].message == "\"\" is no speed: there is no number");
  CHECK(parse_speed("km/h").diagnostics[0].message == "\"km/h\" is no speed: there is no number");
  for (const char* bad : {"0", "-5", "600", "320mph"}) {
    CHECK(parse_speed(bad).diagnostics[0].message ==
          "\"" + std::string(bad) + "\" is no speed: it must be above 0 and at most 500 km/h");
  }
  for (const char* bad : {"60kmh", "60 knots", "nan", "inf", "1e999", "6O"}) {
    CHECK_FALSE(parse_speed(bad).value);
  }
}

TEST_CASE("a moment of a recording") {
  CHECK(*parse_moment("0:05").value == 5);
  CHECK(*parse_moment("1:02.5").value == 62.5);
  CHECK(*parse_moment("90:00").value == 5400);
  for (const char* bad : {"5", "0:60", "-1:00", "0:-1", "1.5:00", ":05", "0:", "0:05:00", "a:b"}) {
    INFO(bad);
    CHECK(parse_moment(bad).diagnostics.at(0).message == "\"" + std::string(bad) + "\" is no time");
  }
}

TEST_CASE("a speed read off at a moment") {
  const SpeedAt mark = *parse_speed_mark("1:02.5=40mph").value;
  CHECK(mark.seconds == 62.5);
  CHECK(mark.value == Approx(64.37376).epsilon(1e-12));
  CHECK(parse_speed_mark("0:00=0").value->value == 0);
  const std::pair<const char*, const char*> bad[] = {
      {"0:05", "\"0:05\" is no mark: it has no \"=\""},
      {"5=30", "\"5=30\" is no mark: \"5\" is not a time"},
      {"0:05=", "\"0:05=\" is no mark: there is no number"},
      {"0:05=-1", "\"0:05=-1\" is no mark: it must be at least 0 and at most 500 km/h"},
      {"0:05=fast", "\"0:05=fast\" is no mark: \"fast\" is no number"},
  };
  for (const auto& [text, message] : bad) {
    CHECK(parse_speed_mark(text).diagnostics.at(0).message == message);
  }
}

TEST_CASE("a load over a stretch") {
  const LoadMark load = *parse_load_mark("0:05-1:12.5=coasting").value;
  CHECK(load.from_s == 5);
  CHECK(load.to_s == 72.5);
  CHECK(load.load == Load::coasting);
  const std::pair<const char*, const char*> bad[] = {
      {"0:05=steady", "\"0:05=steady\" is no load"},
      {"0:05-0:12", "\"0:05-0:12\" is no load"},
      {"0:05-12=steady", "\"0:05-12=steady\" is no load: \"12\" is not a time"},
      {"0:12-0:05=steady", "\"0:12-0:05=steady\" is no load: it ends before it begins"},
      {"0:05-0:05=steady", "\"0:05-0:05=steady\" is no load: it ends before it begins"},
      {"0:05-0:12=acelerating",
       "\"0:05-0:12=acelerating\" is no load: \"acelerating\" is none of accelerating, steady, "
       "coasting; did you mean \"accelerating\"?"},
  };
  for (const auto& [text, message] : bad) {
    CHECK(parse_load_mark(text).diagnostics.at(0).message == message);
  }
}

TEST_CASE("a trace of speeds") {
  const SpeedTrace trace =
      *parse_speed_trace("\xEF\xBB\xBFseconds,km_per_h\r\n0,30\r\n\r\n 1.5 , 42.5\n", "t.csv")
           .value;
  CHECK_FALSE(trace.of_rotor);
  REQUIRE(trace.points.size() == 2);
  CHECK(trace.points[1].seconds == 1.5);
  CHECK(trace.points[1].value == 42.5);
  CHECK(parse_speed_trace("seconds,mph\n0,10", "t.csv").value->points[0].value ==
        Approx(16.09344).epsilon(1e-12));
  CHECK(parse_speed_trace("seconds,rpm\n0,8000", "t.csv").value->of_rotor);
}

TEST_CASE("every bad line of a trace is complained of, with its place") {
  CHECK(why_not(parse_speed_trace("seconds,km_per_h\n0,30\nx,31\n2,\n1;5\n2,30,1\n0,33\n3,900\n",
                                  "t.csv")) ==
        "t.csv:3:1: error[bad-number]: \"x\" is no number\n"
        "  x,31\n"
        "  ^\n"
        "t.csv:4:3: error[bad-number]: a number is missing\n"
        "  2,\n"
        "    ^\n"
        "t.csv:5:1: error[bad-row]: \"1;5\" is not a time and a speed, separated by one comma\n"
        "  1;5\n"
        "  ^\n"
        "t.csv:6:1: error[bad-row]: \"2,30,1\" is not a time and a speed, separated by one comma\n"
        "  2,30,1\n"
        "  ^\n"
        "t.csv:7:1: error[bad-order]: 0 s does not come after 0 s of the row before\n"
        "  0,33\n"
        "  ^\n"
        "t.csv:8:3: error[bad-value]: the speed is 900\n"
        "  3,900\n"
        "    ^\n"
        "  allowed: 0 to 500 km/h\n");
  CHECK(why_not(parse_speed_trace("seconds,rpm\n-1e308,30\n0,30\n1000000,40\n", "t.csv")) ==
        "t.csv:2:1: error[bad-value]: the time is -1e+308 s\n"
        "  -1e308,30\n"
        "  ^\n"
        "  allowed: -1000000 to 1000000 s\n");
  CHECK(why_not(parse_speed_trace("time;speed\n0;30\n", "t.csv")) ==
        "t.csv:1:1: error[bad-header]: the first line is \"time;speed\"\n"
        "  time;speed\n"
        "  ^\n"
        "  allowed: seconds,km_per_h or seconds,mph or seconds,rpm\n"
        "  hint: columns are separated by commas, and a number has a decimal point\n");
  CHECK(parse_speed_trace("", "t.csv").diagnostics.at(0).message == "holds no speeds");
  CHECK(parse_speed_trace("\n \n", "t.csv").diagnostics.at(0).message == "holds no speeds");
  CHECK(parse_speed_trace("seconds,rpm\n", "t.csv").diagnostics.at(0).message ==
        "no speeds follow the header");
}

// ---------------------------------------------------------------------- WAV

std::string four(std::uint32_t number) {
  std::string bytes;
  for (int i = 0; i < 4; ++i) {
    bytes.push_back(static_cast<char>(number >> (8 * i) & 0xFFU));
  }
  return bytes;
}

// 16-bit mono at 8 kHz: 16,000 bytes a second.
std::string format_chunk() {
  return "fmt " + four(16) + std::string("\x01\x00\x01\x00", 4) + four(8000) + four(16000) +
         std::string("\x02\x00\x10\x00", 4);
}

std::string wav(std::uint32_t promised_sound, std::uint32_t held, const std::string& after = "",
                std::int64_t promised_off = 0) {
  const std::string rest =
      "WAVE" + format_chunk() + "data" + four(promised_sound) + std::string(held, '\x05') + after;
  return "RIFF" + four(static_cast<std::uint32_t>(std::int64_t(rest.size()) + promised_off)) + rest;
}

std::string complaint(const std::string& file,
                      std::optional<Diagnostic> (*check)(const ReadAt&,
                                                         std::uint64_t) = complaint_about_wav) {
  const ReadAt read_at = [&](std::uint64_t offset, std::span<unsigned char> bytes) {
    const std::size_t got = std::min<std::size_t>(
        bytes.size(), offset < file.size() ? file.size() - static_cast<std::size_t>(offset) : 0);
    if (got > 0) {
      std::memcpy(bytes.data(), file.data() + offset, got);
    }
    return got;
  };
  const std::optional<Diagnostic> found = check(read_at, file.size());
  return found ? found->code + ": " + found->message : "";
}

TEST_CASE("lengths that a WAV header states") {
  CHECK(complaint(wav(32000, 32000)) == "");
  CHECK(complaint(wav(32000, 32000, "LIST" + four(4) + "INFO")) == "");
  CHECK(complaint(wav(32000, 32000, "ID3 tag of a player")) == "");
  CHECK(complaint(wav(31999, 31999, std::string(1, '\0'))) ==
        "bad-length: its header promises 31,999 bytes of audio, which are no whole number of "
        "samples");
  CHECK(complaint(wav(0, 0)) == "");  // no sound, and it says so

  // Cut short: the file ends early; so it does where the header was made to promise more.
  CHECK(complaint(wav(32000, 32000).substr(0, 44 + 8000)) ==
        "truncated: is cut short: its header promises 2.0 s of audio, the file holds 0.5 s of "
        "audio");
  CHECK(complaint(wav(64000, 32000)) ==
        "truncated: is cut short: its header promises 4.0 s of audio, the file holds 2.0 s of "
        "audio");
  CHECK(complaint(wav(32000, 32000).substr(0, 30)) ==
        "truncated: is cut short: it ends before the audio begins");
  CHECK(complaint(wav(32000, 32000, "", 5000)) ==
        "truncated: its header promises 37,044 bytes in all, the file holds 32,044");

  // It promises less than there is.
  CHECK(complaint(wav(16000, 32000)) ==
        "bad-length: its header promises 1.0 s of audio, but the file goes on: 16,000 bytes "
        "follow that are no part of it");
  CHECK(complaint(wav(32000, 32000, "", -8000)) ==
        "bad-length: its header promises 24,044 bytes in all, the file holds 32,044");

  // The recorder never wrote the length.
  for (const std::uint32_t none : {0U, 0xFFFFFFFFU}) {
    CHECK(complaint(wav(none, 32000)) ==
          "bad-length: does not say how long it is: the recorder did not end it");
  }

  // Other kinds of file are for others to judge.
  CHECK(complaint("") == "");
  CHECK(complaint("fLaC and so on, and on, and on") == "");
  CHECK(complaint("RIFF" + four(10) + "AVI and more") == "");
}

TEST_CASE("the 64-bit form of WAV") {
  const std::string sound(32000, '\x05');
  const auto file = [&](std::uint32_t promised) {
    const std::string rest = "WAVE" + std::string("ds64") + four(28) + four(32000 + 80 - 8) +
                             four(0) + four(promised) + four(0) + std::string(12, '\0') +
                             format_chunk() + "data" + four(0xFFFFFFFFU) + sound;
    return "RF64" + four(0xFFFFFFFFU) + rest;
  };
  CHECK(complaint(file(32000)) == "");
  CHECK(complaint(file(48000)) ==
        "truncated: is cut short: its header promises 3.0 s of audio, the file holds 2.0 s of "
        "audio");
}

TEST_CASE("the last page of an OGG file") {
  const auto page = [](char flags, const std::string& body) {
    return "OggS" + std::string(1, '\0') + flags + std::string(20, '\1') + std::string(1, '\1') +
           std::string(1, static_cast<char>(body.size())) + body;
  };
  const auto check = [](const std::string& file) { return complaint(file, complaint_about_ogg); };
  const std::string cut = "truncated: is cut short: its last page is not marked as the last";
  const std::string whole = page(2, "head") + page(0, std::string(200, 'x')) + page(4, "the end");
  CHECK(check(whole) == "");
  // A capture pattern that stands in the sound is no page.
  CHECK(check(page(2, "head") + page(4, "sound with OggS in it, and more sound after that")) == "");
  CHECK(check(page(2, "head") + page(0, "middle")) == cut);
  for (std::size_t left = 4; left < whole.size(); ++left) {
    CHECK(check(whole.substr(0, left)) == cut);
  }
  CHECK(check(wav(32000, 32000)) == "");
  CHECK(check("") == "");
}

// -------------------------------------------------------------------- sound

std::vector<float> two_channels(std::size_t frames, float left, float right) {
  std::vector<float> samples;
  for (std::size_t i = 0; i < frames; ++i) {
    const float sign = i % 2 == 0 ? 1.0F : -1.0F;
    samples.push_back(sign * left);
    samples.push_back(sign * right);
  }
  return samples;
}

TEST_CASE("the channel that is listened to") {
  SoundCheck check(2);
  check.add(two_channels(1000, 0, 0.5F));
  CHECK(check.frames() == 1000);
  const Result<SoundCheck::Chosen> chosen = check.choose(0, 8000);
  REQUIRE(chosen.value);
  CHECK(chosen.value->channel == 2);
  CHECK(chosen.value->limits ==
        std::vector<std::string>{"Channel 1 of 2 is silent; channel 2 was used."});
  CHECK(why_not(check.choose(1, 8000)) ==
        "error[dead-channel]: channel 1 is silent; channel 2 is not\n  hint: --channel 2\n");
  CHECK(why_not(check.choose(3, 8000)) ==
        "error[no-channel]: has 2 channels, so there is no channel 3\n"
        "  hint: channels are counted from 1\n");

  SoundCheck both(2);
  both.add(two_channels(1000, 0.2F, 0.5F));
  CHECK(both.choose(0, 8000).value->channel == 1);
  CHECK(both.choose(0, 8000).value->limits.empty());
  CHECK(both.choose(2, 8000).value->channel == 2);

  SoundCheck silent(2);
  silent.add(std::vector<float>(2000, 0.25F));  // a constant is no sound
  CHECK(silent.choose(0, 8000).value->channel == 1);
  CHECK(silent.choose(0, 8000).value->limits.empty());
}

TEST_CASE("clipped samples") {
  const auto with_runs = [](std::size_t runs, std::size_t length) {
    SoundCheck check(1);
    std::vector<float> samples(10000, 0);
    for (std::size_t r = 0; r < runs; ++r) {
      for (std::size_t i = 0; i < length; ++i) {
        samples[r * (length + 1) + i] = r % 2 == 0 ? 1.0F : -1.0F;
      }
    }
    // In two pieces, the first of which ends within a run.
    check.add(std::span(samples).first(2));
    check.add(std::span(samples).subspan(2));
    return check.choose(0, 8000);
  };
  CHECK(with_runs(0, 0).value->limits.empty());
  CHECK(with_runs(1, 1).value->limits.empty());  // a peak that just reaches full scale
  CHECK(with_runs(1000, 2).value->limits.at(0).substr(0, 30) == "20.0 % of the samples are clip");
  CHECK(with_runs(1, 5).value->limits ==
        std::vector<std::string>{"Under 0.1 % of the samples are clipped, which adds multiples of "
                                 "strong lines: do not trust levels; record again at a lower "
                                 "level."});
  CHECK(with_runs(500, 5).value->limits.at(0).substr(0, 30) == "25.0 % of the samples are clip");
  CHECK(why_not(with_runs(1500, 5)) ==
        "error[clipped]: is overdriven: 75 % of its samples are clipped\n"
        "  hint: record again at a lower level\n");
}

// By the share of samples at full scale: here no two beside each other are on the same side.
TEST_CASE("a square wave as fast as can be is clipped") {
  SoundCheck check(1);
  std::vector<float> samples;
  for (int i = 0; i < 10000; ++i) {
    samples.push_back(i % 2 == 0 ? 32767.0F / 32768 : -32767.0F / 32768);
  }
  check.add(samples);
  CHECK(why_not(check.choose(0, 8000)) ==
        "error[clipped]: is overdriven: 100 % of its samples are clipped\n"
        "  hint: record again at a lower level\n");
  // Numbers that full scale does not bound, such as an accelerometer's.
  samples[5000] = 3.5F;
  SoundCheck beyond(1);
  beyond.add(samples);
  REQUIRE(beyond.choose(0, 8000).value);
  CHECK(beyond.choose(0, 8000).value->limits.empty());
}

std::vector<float> hiss(std::size_t count, float level, unsigned seed) {
  std::mt19937 draw(seed);
  std::normal_distribution<float> sound(0, level);
  std::vector<float> samples(count);
  for (float& x : samples) {
    x = std::round(sound(draw) * 32768) / 32768;  // 16 bits
  }
  return samples;
}

bool repeats(const std::vector<float>& samples, std::size_t channels = 1) {
  SoundCheck check(channels);
  const std::size_t piece = 1001 * channels;
  for (std::size_t at = 0; at < samples.size(); at += piece) {
    check.add(std::span(samples).subspan(at, std::min(piece, samples.size() - at)));
  }
  const Result<SoundCheck::Chosen> chosen = check.choose(0, 8000);
  REQUIRE(chosen.value);
  return chosen.value->repeats;
}

TEST_CASE("a sound that comes again exactly") {
  constexpr std::size_t kCount = 160000;
  // A clip in a loop, from one that comes at each sample to one that comes twice.
  for (const std::size_t clip : {1, 2, 3, 37, 255, 256, 257, 2001, 16000, 50000, 80000}) {
    const std::vector<float> once = hiss(clip, 0.1F, 4);
    std::vector<float> looped(kCount);
    for (std::size_t i = 0; i < kCount; ++i) {
      looped[i] = once[i % clip];
    }
    INFO("clip of " << clip);
    CHECK(repeats(looped) == (clip > 1));  // a constant is silence
    // The same after something else.
    const std::vector<float> before = hiss(kCount / 2, 0.1F, 5);
    std::copy(before.begin(), before.end(), looped.begin());
    CHECK(repeats(looped) == (clip > 1 && clip <= 16000));
  }
  // Two channels repeat together or not at all.
  std::vector<float> stereo;
  const std::vector<float> left = hiss(kCount, 0.1F, 6);
  for (std::size_t i = 0; i < kCount; ++i) {
    stereo.push_back(left[i]);
    stereo.push_back(left[i % 1000]);
  }
  CHECK_FALSE(repeats(stereo, 2));
}

TEST_CASE("no sound but a loop comes again exactly") {
  constexpr std::size_t kCount = 400000;
  for (const float level : {0.3F, 0.01F, 1.0F / 32768, 0.3F / 32768}) {
    INFO(level);
    std::vector<float> sound = hiss(kCount, level, 7);
    CHECK_FALSE(repeats(sound));
    // A steady tone in it, whose period is a whole number of samples.
    for (std::size_t i = 0; i < kCount; ++i) {
      sound[i] += 0.2F * static_cast<float>(static_cast<int>(i % 40) - 20) / 20;
    }
    CHECK_FALSE(repeats(sound));
  }
  // Silence in it, and a signal of the recorder's at both ends.
  std::vector<float> sound = hiss(kCount, 0.1F, 8);
  std::fill(sound.begin() + 100000, sound.begin() + 300000, 0.0F);
  std::copy(sound.begin(), sound.begin() + 8000, sound.end() - 8000);
  CHECK_FALSE(repeats(sound));
}

TEST_CASE("samples that are no numbers") {
  for (const float bad :
       {std::numeric_limits<float>::quiet_NaN(), std::numeric_limits<float>::infinity()}) {
    SoundCheck check(1);
    std::vector<float> samples(1000, 0.5F);
    samples[400] = bad;
    check.add(samples);
    CHECK(why_not(check.choose(0, 8000)) ==
          "error[bad-sample]: sample 401 (at 0.050 s) is not a number\n"
          "  hint: save it again in whole numbers, such as 16 bit\n");
  }
}

}  // namespace
}  // namespace dryshaft

// Makes an invented recording of a drive unit, to try `listen` on.
//
//     make_recording --fault outer-race --db -10 --mark 0=30 --mark 20=90 tarn.wav
//
// The machine is a family's of data/families (invented as well); what sounds, and what is left out,
// stands in tests/support/drive_noise.hpp. All figures are invented: a recording made here shows
// how the program is used and says nothing about any real drive unit. The same options give the
// same bytes.
#include <sndfile.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/knowledge.hpp"
#include "support/drive_noise.hpp"

namespace {

using dryshaft::NoiseKind;

struct Options {
  std::string out;
  std::string data = DRYSHAFT_DATA_DIR;
  std::string family = "plover-2";
  std::string vehicle;
  std::string fault;
  std::string bearing;
  bool washboard = false;
  int flutes = 100;
  double db = -10;
  double slip = 0.005;
  std::vector<std::string> marks;
  std::vector<std::string> loads;
  double level = -22;
  double mains = dryshaft::synthetic::kSilent;
  bool dead_side = false;
  double rate = 48000;
  double seconds = 20;
  std::uint64_t seed = 1;
};

int complain(const std::string& what) {
  std::fprintf(stderr, "make_recording: %s\n", what.c_str());
  return 2;
}

std::vector<dryshaft::NamedText> read_files(const std::filesystem::path& folder) {
  std::vector<dryshaft::NamedText> texts;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    std::ifstream in(entry.path(), std::ios::binary);
    texts.push_back({entry.path().filename().string(), {std::istreambuf_iterator<char>(in), {}}});
  }
  std::ranges::sort(texts, {}, &dryshaft::NamedText::name);
  return texts;
}

// "5=30": at 5 s, 30 km/h.
std::optional<dryshaft::synthetic::RoadSpeed> mark_of(const std::string& text) {
  dryshaft::synthetic::RoadSpeed mark;
  int used = 0;
  const int n = std::sscanf(text.c_str(), "%lf=%lf%n", &mark.seconds, &mark.km_per_h, &used);
  const bool whole = n == 2 && static_cast<std::size_t>(used) == text.size();
  return whole && mark.seconds >= 0 && mark.km_per_h >= 0 ? std::optional(mark) : std::nullopt;
}
// "5-12=coasting": from 5 s to 12 s.
std::optional<dryshaft::LoadMark> load_of(const std::string& text) {
  dryshaft::LoadMark mark;
  int used = 0;
  if (std::sscanf(text.c_str(), "%lf-%lf=%n", &mark.from_s, &mark.to_s, &used) != 2 || used == 0) {
    return std::nullopt;
  }
  const auto load =
      dryshaft::load_named(std::string_view(text).substr(static_cast<std::size_t>(used)));
  if (!load || !(mark.to_s > mark.from_s)) {
    return std::nullopt;
  }
  mark.load = *load;
  return mark;
}

// Adds the fault that the options name; says what is wrong with them.
std::string add_fault(const Options& o, dryshaft::synthetic::DriveNoise& what) {
  dryshaft::synthetic::Fault fault;
  bool known = false;
  for (std::size_t k = 0; k < dryshaft::kNoiseKindCount && !known; ++k) {
    fault.kind = static_cast<NoiseKind>(k);
    known = dryshaft::of_bearing(fault.kind) && name(fault.kind) == o.fault;
  }
  if (!known) {
    return "--fault is one of outer-race, inner-race, element, cage";
  }
  std::vector<dryshaft::Bearing> all = what.machine.rotor_bearings;
  all.insert(all.end(), what.machine.gear_bearings.begin(), what.machine.gear_bearings.end());
  std::string names;
  for (const dryshaft::Bearing& b : all) {
    names += "\n  " + b.name;
  }
  const auto found =
      o.bearing.empty() ? all.begin() : std::ranges::find(all, o.bearing, &dryshaft::Bearing::name);
  if (found == all.end()) {
    return "--bearing is one of" + names;
  }
  const bool race = fault.kind == NoiseKind::outer_race || fault.kind == NoiseKind::inner_race;
  if (o.washboard && !race) {
    return "a washboard is on a race";
  }
  fault.bearing = *found;
  fault.washboard = o.washboard;
  fault.flutes = o.flutes;
  fault.db = o.db;
  fault.slip = o.slip;
  what.faults.push_back(std::move(fault));
  return {};
}

std::string fill(const Options& o, dryshaft::synthetic::DriveNoise& what) {
  const auto knowledge =
      dryshaft::load_knowledge(read_files(std::filesystem::path(o.data) / "rules"),
                               read_files(std::filesystem::path(o.data) / "families"));
  if (!knowledge.value) {
    return "the rule data of " + o.data + " cannot be read";
  }
  const dryshaft::Family& family = knowledge.value->family(o.family);
  if (family.id != o.family || !family.machine) {
    return "no machine is known of the family " + o.family;
  }
  what.machine = *family.machine;
  const auto vehicle = o.vehicle.empty() ? family.vehicles.begin()
                                         : std::ranges::find(family.vehicles, o.vehicle,
                                                             &dryshaft::VehicleProfile::id);
  if (vehicle == family.vehicles.end() || !vehicle->tyre) {
    return "no tyre is known of the vehicle " + o.vehicle;
  }
  what.circumference_m = dryshaft::rolling_circumference_m(outer_diameter_mm(*vehicle->tyre));
  what.drive.speed.clear();
  for (const std::string& text : o.marks) {
    const auto mark = mark_of(text);
    if (!mark || (!what.drive.speed.empty() && mark->seconds <= what.drive.speed.back().seconds)) {
      return "--mark is SECONDS=KM/H, in order of time: " + text;
    }
    what.drive.speed.push_back(*mark);
  }
  if (what.drive.speed.empty()) {
    what.drive.speed.push_back({0, 60});
  }
  for (const std::string& text : o.loads) {
    const auto load = load_of(text);
    if (!load) {
      return "--load is FROM-TO=accelerating|steady|coasting, in seconds: " + text;
    }
    what.drive.loads.push_back(*load);
  }
  what.levels.mains = o.mains;
  what.microphone.level_db = o.level;
  if (o.dead_side) {
    what.microphone.channels = 2;
    what.microphone.dead_channel = 0;
  }
  what.rate = o.rate;
  what.seconds = o.seconds;
  what.seed = o.seed;
  return o.fault.empty() ? std::string() : add_fault(o, what);
}

bool write(const std::string& path, const dryshaft::synthetic::DriveRecording& recording) {
  SF_INFO info{};
  info.samplerate = static_cast<int>(recording.rate);
  info.channels = static_cast<int>(recording.channels);
  info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
  SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &info);
  if (file == nullptr) {
    return false;
  }
  std::vector<std::int16_t> steps;
  steps.reserve(recording.samples.size());
  for (const float v : recording.samples) {
    steps.push_back(static_cast<std::int16_t>(v * 32768));  // whole numbers already
  }
  const auto count = static_cast<sf_count_t>(steps.size());
  const bool all = sf_write_short(file, steps.data(), count) == count;
  return sf_close(file) == 0 && all;
}

}  // namespace

int main(int argc, char** argv) {
  Options o;
  CLI::App app("Makes an invented recording of a drive unit.");
  app.add_option("file", o.out, "WAV file to write")->required();
  app.add_option("--data", o.data, "folder with rules and families");
  app.add_option("--family", o.family, "whose machine it is");
  app.add_option("--vehicle", o.vehicle, "whose tyres it has; else the family's first");
  app.add_option("--fault", o.fault, "outer-race, inner-race, element, cage; else none");
  app.add_option("--bearing", o.bearing, "which bearing has it; else the first of the rotor");
  app.add_flag("--washboard", o.washboard, "flutes all round the race, not one defect");
  app.add_option("--flutes", o.flutes, "how many")->check(CLI::Range(10, 1000));
  app.add_option("--db", o.db, "the fault's power over that of all else")
      ->check(CLI::Range(-100, 100));
  app.add_option("--slip", o.slip, "share by which the cage lags")->check(CLI::Range(-0.1, 0.1));
  app.add_option("--mark", o.marks, "SECONDS=KM/H; several; else 60 km/h");
  app.add_option("--load", o.loads, "FROM-TO=accelerating|steady|coasting, in seconds; several");
  app.add_option("--level", o.level, "rms in dB of full scale; near 0 it clips")
      ->check(CLI::Range(-120, 40));
  app.add_option("--mains", o.mains, "level of mains hum, in dB of the road's at 60 km/h");
  app.add_flag("--dead-side", o.dead_side, "two channels, the first of them dead");
  app.add_option("--rate", o.rate, "samples a second")->check(CLI::Range(4000, 192000));
  app.add_option("--seconds", o.seconds)->check(CLI::Range(0.1, 600.0));
  app.add_option("--seed", o.seed);
  CLI11_PARSE(app, argc, argv);
  dryshaft::synthetic::DriveNoise what;
  if (const std::string wrong = fill(o, what); !wrong.empty()) {
    return complain(wrong);
  }
  if (!write(o.out, record(what))) {
    return complain(o.out + " cannot be written");
  }
  return 0;
}

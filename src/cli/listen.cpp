// Noise recordings: which parts their lines fit.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <iterator>
#include <memory>
#include <optional>

#include "cli/cli.hpp"
#include "cli/recording.hpp"
#include "dryshaft/machine.hpp"
#include "dryshaft/noise_report.hpp"

namespace dryshaft::cli {
namespace {

constexpr double kMostTurns = 200000;  // a minute
constexpr double kMostFalseAlarms = 0.5;
constexpr double kUncoveredWorthNaming = 1;  // s

struct Options {
  std::vector<std::string> recordings;
  std::size_t channel = 0;
  std::vector<std::string> bearings;
  std::string family;
  std::string vehicle;
  std::string tyre;
  std::optional<double> rotor_rpm;
  std::string speed;
  std::vector<std::string> marks;
  std::string trace;
  std::vector<std::string> loads;
  std::optional<double> false_alarm;
  std::string format = "text";
  std::optional<std::string> out;
  std::optional<std::string> into;
  std::string unit;
  std::optional<std::string> date;
  DataOptions data;
};

// The value of an option, or wrong usage in the words of its parser.
template <typename T>
T taken(std::string_view option, Result<T> parsed) {
  if (!parsed.value) {
    const Diagnostic& d = parsed.diagnostics.front();
    throw Stop{kUsage, fmt::format("{}: {}; write {}", option, d.message, d.hint)};
  }
  return std::move(*parsed.value);
}

std::string moment(double seconds) {
  const double shown = std::round(seconds * 10) / 10;
  const double minutes = std::floor(shown / 60);
  return fmt::format("{:.0f}:{:04.1f}", minutes, shown - minutes * 60);
}

class Listening {
 public:
  explicit Listening(const Options& options) : o_(options) {}

  int run() {
    check_usage();
    Result<Knowledge> loaded = load(o_.data);
    if (!loaded.value) {
      return kRejected;
    }
    k_ = std::move(*loaded.value);
    if (o_.bearings.empty()) {
      if (!drive_unit()) {
        return kRejected;
      }
    } else {
      plain_bearings();
    }
    for (const std::string& text : o_.loads) {
      loads_.push_back(taken("--load", parse_load_mark(text)));
    }
    check_loads();
    for (const std::string& path : o_.recordings) {
      one(path);
    }
    return finish();
  }

 private:
  // ------------------------------------------------------------------ usage

  void check_usage() {
    if (o_.bearings.empty() && o_.family.empty() && !o_.into) {
      throw Stop{kUsage,
                 "name what to listen for: --family ID for a drive unit, or --rotor-rpm N with "
                 "--bearing n:d:D:angle"};
    }
    if (o_.into == "-") {
      throw Stop{kUsage, "--into names a file: the record in it is written anew"};
    }
    keep_apart("--out", o_.out, "--into", o_.into);
    if (!o_.into && (!o_.unit.empty() || o_.date)) {
      throw Stop{kUsage, "--unit and --date choose the inspection for --into"};
    }
    which_.date = day_of("--date", o_.date);
    which_.unit_id = o_.unit;
    const bool several_speeds = (o_.rotor_rpm ? 1 : 0) + (o_.speed.empty() ? 0 : 1) +
                                    (o_.marks.empty() ? 0 : 1) + (o_.trace.empty() ? 0 : 1) >
                                1;
    if (several_speeds) {
      throw Stop{kUsage, "give one of --rotor-rpm, --speed, --mark and --trace"};
    }
    if (!o_.bearings.empty()) {
      check_plain();
    }
    const bool of_one = !o_.marks.empty() || !o_.trace.empty() || !o_.loads.empty() || o_.into;
    if (of_one && o_.recordings.size() > 1) {
      throw Stop{kUsage,
                 fmt::format("--mark, --trace, --load and --into belong to one recording; {} are "
                             "named",
                             o_.recordings.size())};
    }
    if (o_.rotor_rpm && !(*o_.rotor_rpm > 0 && *o_.rotor_rpm <= kMostTurns)) {
      throw Stop{kUsage, fmt::format("--rotor-rpm is {}; it must be above 0 and at most {:.0f}",
                                     *o_.rotor_rpm, kMostTurns)};
    }
    if (o_.false_alarm && !(*o_.false_alarm > 0 && *o_.false_alarm <= kMostFalseAlarms)) {
      throw Stop{kUsage, fmt::format("--false-alarm is {}; it must be above 0 and at most {}",
                                     *o_.false_alarm, kMostFalseAlarms)};
    }
    if (o_.false_alarm) {
      noise_.false_alarm = *o_.false_alarm;
    }
  }

  void check_plain() const {
    const std::pair<const char*, bool> not_for_bearings[] = {
        {"--family", !o_.family.empty()}, {"--vehicle", !o_.vehicle.empty()},
        {"--tyre", !o_.tyre.empty()},     {"--into", o_.into.has_value()},
        {"--load", !o_.loads.empty()},    {"--speed", !o_.speed.empty()},
        {"--mark", !o_.marks.empty()},    {"--trace", !o_.trace.empty()}};
    for (const auto& [option, given] : not_for_bearings) {
      if (given) {
        throw Stop{kUsage, fmt::format("{} is for a drive unit; with --bearing, only the speed "
                                       "--rotor-rpm of its shaft is needed",
                                       option)};
      }
    }
    if (!o_.rotor_rpm) {
      throw Stop{kUsage, "--bearing needs --rotor-rpm: the turns a minute of its shaft"};
    }
  }

  void check_loads() {
    std::ranges::sort(loads_, {}, &LoadMark::from_s);
    for (std::size_t i = 1; i < loads_.size(); ++i) {
      if (loads_[i].from_s < loads_[i - 1].to_s) {
        throw Stop{kUsage, fmt::format("--load: {} to {} and {} to {} overlap",
                                       moment(loads_[i - 1].from_s), moment(loads_[i - 1].to_s),
                                       moment(loads_[i].from_s), moment(loads_[i].to_s))};
      }
    }
  }

  // --------------------------------------------------------- what to hold against

  void plain_bearings() {
    if (const std::string what = complaint_about_count(o_.bearings.size()); !what.empty()) {
      throw Stop{kUsage, fmt::format("--bearing: {}", what)};
    }
    for (std::size_t i = 0; i < o_.bearings.size(); ++i) {
      Bearing b = taken("--bearing", parse_bearing(o_.bearings[i]));
      if (b.name.empty()) {
        b.name = o_.bearings.size() == 1 ? "the bearing" : fmt::format("bearing {}", i + 1);
      }
      if (std::ranges::find(bearings_, b.name, &Bearing::name) != bearings_.end()) {
        throw Stop{kUsage, fmt::format("--bearing: two are called \"{}\"", b.name)};
      }
      against_ += fmt::format("{}{} ({}:{}:{}:{})", against_.empty() ? "" : ", ", b.name,
                              b.elements, b.element_diameter, b.pitch_diameter, b.contact_deg);
      bearings_.push_back(std::move(b));
    }
  }

  // False where the record or the trace was refused; complaints are on standard error.
  bool drive_unit() {
    std::string family = o_.family;
    std::string vehicle = o_.vehicle;
    if (o_.into && !unit_of_record(family, vehicle)) {
      return false;
    }
    check_names(family, vehicle, k_);
    const Family& f = k_.family(family);
    if (!f.machine) {
      throw Stop{kUsage, fmt::format("the profile of family {} holds no motor, gears and bearings, "
                                     "so a recording cannot be compared with it",
                                     f.id)};
    }
    machine_ = *f.machine;
    against_ = fmt::format("family {}", f.id);
    std::optional<Tyre> tyre;
    std::string tyre_size = o_.tyre;
    for (const VehicleProfile& v : f.vehicles) {
      if (v.id == vehicle) {
        against_ += fmt::format(", vehicle {}", v.id);
        tyre_size = tyre_size.empty() ? v.tyre_size : tyre_size;
      }
    }
    if (!tyre_size.empty()) {
      tyre = parse_tyre(tyre_size);
      if (!tyre) {
        throw Stop{kUsage, fmt::format("--tyre is \"{}\", not a size such as 225/50R16", o_.tyre)};
      }
      circumference_m_ = rolling_circumference_m(outer_diameter_mm(*tyre));
      against_ += fmt::format(", tyre {} ({:.3f} m a turn)", tyre_size, *circumference_m_);
    }
    if (!machine_->stages.empty()) {
      against_ +=
          fmt::format(", {:.3f} turns of the rotor for one of the wheel", machine_->ratio());
    }
    return given_speed();
  }

  // Family and vehicle of the record's unit, where the command line names none.
  bool unit_of_record(std::string& family, std::string& vehicle) {
    if (*o_.into == "-") {
      throw Stop{kUsage, "--into changes a file: name one"};
    }
    LineSource source(*o_.into);
    record_text_ = source.rest(kChangedFile);
    if (!source.error().empty()) {
      complain({input_complaint(source)});
      return false;
    }
    // Tried with a finding that fits any record, so that nobody waits for the analysis in vain.
    const Result<std::string> tried = write_recording(
        record_text_, source.name(), {{Field::recording_other, "none"}}, which_, read_options(k_));
    complain(tried.diagnostics);
    if (!tried.value) {
      return false;
    }
    std::string its_family;
    std::string its_vehicle;
    for (const Record& r : read_records(record_text_, source.name(), read_options(k_)).records) {
      if (o_.unit.empty() || r.unit_id == o_.unit) {
        its_family = r.family.empty() ? its_family : r.family;
        its_vehicle = r.vehicle.empty() ? its_vehicle : r.vehicle;
      }
    }
    for (const auto& [option, ours, its] : {std::tuple{"--family", &family, &its_family},
                                            std::tuple{"--vehicle", &vehicle, &its_vehicle}}) {
      if (ours->empty()) {
        *ours = *its;
      } else if (!its->empty() && *its != *ours) {
        throw Stop{kUsage, fmt::format("{} is {}, but the unit in {} has {}", option, *ours,
                                       source.name(), *its)};
      }
    }
    if (family.empty()) {
      throw Stop{kUsage,
                 fmt::format("{} does not name the family of its unit: name it with --family",
                             source.name())};
    }
    return true;
  }

  // ------------------------------------------------------------------ speed

  [[nodiscard]] double rpm(double km_per_h, std::string_view option) const {
    if (!circumference_m_) {
      throw Stop{kUsage, fmt::format("{} is a road speed, which needs the size of the tyre: name "
                                     "--vehicle or --tyre",
                                     option)};
    }
    if (machine_->stages.empty()) {
      throw Stop{kUsage,
                 fmt::format("{} is a road speed, but the family's profile has no gears", option)};
    }
    const double turns = rotor_rpm(km_per_h, *circumference_m_, machine_->ratio());
    if (turns > kMostTurns) {
      throw Stop{kUsage, fmt::format("{}: with this tyre and gearing, {} km/h is {:.0f} turns a "
                                     "minute of the rotor; it may be at most {:.0f}",
                                     option, km_per_h, turns, kMostTurns)};
    }
    return turns;
  }

  bool given_speed() {
    if (o_.rotor_rpm) {
      speed_ = {SpeedBasis::constant, {{0, *o_.rotor_rpm}}};
    } else if (!o_.speed.empty()) {
      const double km_per_h = taken("--speed", parse_speed(o_.speed));
      speed_ = {SpeedBasis::constant, {{0, rpm(km_per_h, "--speed")}}};
    } else if (!o_.marks.empty()) {
      marks();
    } else if (!o_.trace.empty()) {
      return trace();
    }
    return true;
  }

  void marks() {
    speed_.basis = SpeedBasis::marks;
    for (const std::string& text : o_.marks) {
      const SpeedAt mark = taken("--mark", parse_speed_mark(text));
      speed_.points.push_back({mark.seconds, rpm(mark.value, "--mark")});
    }
    std::ranges::sort(speed_.points, {}, &SpeedPoint::seconds);
    for (std::size_t i = 1; i < speed_.points.size(); ++i) {
      if (speed_.points[i].seconds == speed_.points[i - 1].seconds) {
        throw Stop{kUsage, fmt::format("--mark: two speeds are given at {}",
                                       moment(speed_.points[i].seconds))};
      }
    }
    check_not_still("--mark");
  }

  bool trace() {
    LineSource source(o_.trace);
    const std::string text = source.rest(kTraceFile);
    if (!source.error().empty()) {
      complain({input_complaint(source)});
      return false;
    }
    const Result<SpeedTrace> read = parse_speed_trace(text, source.name());
    complain(read.diagnostics);
    if (!read.value) {
      return false;
    }
    speed_.basis = SpeedBasis::trace;
    for (const SpeedAt& at : read.value->points) {
      speed_.points.push_back(
          {at.seconds, read.value->of_rotor ? at.value : rpm(at.value, "--trace")});
    }
    check_not_still("--trace");
    return true;
  }

  void check_not_still(std::string_view option) const {
    if (std::ranges::all_of(speed_.points, [](const SpeedPoint& p) { return p.rpm == 0; })) {
      throw Stop{kUsage, fmt::format("{}: the car stands still throughout", option)};
    }
  }

  // -------------------------------------------------------------- recordings

  void one(const std::string& path) {
    Result<OpenedRecording> opened = open_recording(path, o_.channel);
    rejected_ = complain(opened.diagnostics) || rejected_;
    if (!opened.value) {
      return;
    }
    check_moments(opened.value->seconds);
    Result<NoiseReport> heard =
        bearings_.empty()
            ? listen_to_machine(opened.value->recording, *machine_, speed_, loads_, noise_)
            : listen_to_bearings(opened.value->recording, bearings_, *o_.rotor_rpm, noise_);
    for (Diagnostic& d : heard.diagnostics) {
      d.source = path;
    }
    rejected_ = complain(heard.diagnostics) || rejected_;
    if (!heard.value) {
      return;
    }
    NoiseSheet sheet;
    sheet.source = path;
    sheet.channel = opened.value->channel;
    sheet.channels = opened.value->channels;
    sheet.held_against = against_;
    sheet.cautions = k_.cautions_for(ActionRole::record_sound);
    sheet.report = std::move(*heard.value);
    if (opened.value->repeats) {
      sheet.report.left_open = LeftOpen::repeats;
      sheet.report.name_nothing();
    }
    std::vector<std::string>& limits = sheet.report.limits;
    std::vector<std::string> ours = std::move(opened.value->limits);
    uncovered(opened.value->seconds, ours);
    limits.insert(limits.begin(), std::make_move_iterator(ours.begin()),
                  std::make_move_iterator(ours.end()));
    sheets_.push_back(std::move(sheet));
  }

  // A moment beyond the end is a slip of the pen, or belongs to another recording.
  void check_moments(double seconds) const {
    const auto check = [&](std::string_view option, double at) {
      if (at > seconds + kUncoveredWorthNaming) {
        throw Stop{kUsage, fmt::format("{}: {} lies beyond the end of {}, which lasts {}", option,
                                       moment(at), o_.recordings.front(), moment(seconds))};
      }
    };
    if (speed_.basis == SpeedBasis::marks) {
      check("--mark", speed_.points.back().seconds);
    } else if (speed_.basis == SpeedBasis::trace) {
      check("--trace", speed_.points.front().seconds);
    }
    for (const LoadMark& load : loads_) {
      check("--load", load.to_s);
    }
  }

  void uncovered(double seconds, std::vector<std::string>& limits) const {
    if (speed_.basis != SpeedBasis::marks && speed_.basis != SpeedBasis::trace) {
      return;
    }
    const double from = speed_.points.front().seconds;
    const double to = std::min(speed_.points.back().seconds, seconds);
    if (from > kUncoveredWorthNaming || to < seconds - kUncoveredWorthNaming) {
      limits.push_back(
          fmt::format("Speeds are given from {} to {} of {}; outside, the nearest one is used.",
                      moment(from), moment(to), moment(seconds)));
    }
  }

  // ------------------------------------------------------------------ output

  // What the recording showed, put into the record. An open speed leaves nothing to put there.
  int write_record() {
    const RecordingFindings found = recording_findings(sheets_.front().report, *machine_);
    std::vector<FieldValue> findings;
    std::string told;
    for (const auto& [field, word] :
         {std::pair{Field::recording_rotor_bearing, found.rotor_bearing},
          std::pair{Field::recording_gear_bearing, found.gear_bearing},
          std::pair{Field::recording_other, found.other},
          std::pair{Field::recording_pattern, found.pattern}}) {
      if (word) {
        findings.push_back({field, std::string(*word)});
        told += fmt::format("{}{}: {}", told.empty() ? "" : ", ", spec(field).title, *word);
      }
    }
    if (findings.empty()) {
      Diagnostic d;
      d.code = "nothing-found";
      d.source = sheets_.front().source;
      const LeftOpen open = sheets_.front().report.left_open;
      d.message = fmt::format(
          "{}, so {} stays as it is",
          open == LeftOpen::no ? std::string_view("leaves its speed open") : title(open), *o_.into);
      d.hint = open == LeftOpen::no ? "give the speed: --mark, --speed, --rotor-rpm or --trace"
                                    : "record the drive unit again, with nothing else running";
      rejected_ = complain({d});
      return kDone;
    }
    const Result<std::string> written =
        write_recording(record_text_, *o_.into, findings, which_, read_options(k_));
    if (!written.value) {
      rejected_ = complain(written.diagnostics) || rejected_;
      return kDone;
    }
    Output output(o_.into, Output::Inputs::may_replace);
    output.write(*written.value);
    const int code = output.finish();
    if (code == kDone) {
      warn(fmt::format("{}: now says of the recording: {}\n", *o_.into, told));
    }
    return code;
  }

  int finish() {
    if (sheets_.empty()) {
      return kRejected;
    }
    const int recorded = o_.into ? write_record() : kDone;
    Output output(o_.out);
    if (o_.format == "html") {
      output.write(noise_to_html(sheets_));
    }
    for (std::size_t i = 0; i < sheets_.size() && o_.format != "html"; ++i) {
      if (o_.format == "json") {
        output.write(noise_to_json(sheets_[i]));
        continue;
      }
      output.write(i == 0 ? "" : "\n\n");
      output.write(o_.format == "markdown" ? noise_to_markdown(sheets_[i])
                                           : noise_to_text(sheets_[i], {.colour = coloured(o_.out),
                                                                        .width = 80,
                                                                        .units = Units::km}));
    }
    const int written = output.finish();
    if (recorded != kDone || written != kDone) {
      return kOutput;
    }
    return rejected_ ? kRejected : kDone;
  }

  const Options& o_;
  Knowledge k_;
  NoiseOptions noise_;
  std::vector<Bearing> bearings_;
  std::optional<Machine> machine_;
  std::optional<double> circumference_m_;
  std::string against_;
  std::string record_text_;
  WhichRecord which_;
  GivenSpeed speed_;
  std::vector<LoadMark> loads_;
  std::vector<NoiseSheet> sheets_;
  bool rejected_ = false;
};

}  // namespace

Run add_listen(CLI::App& parent) {
  auto o = std::make_shared<Options>();
  CLI::App* app = parent.add_subcommand(
      "listen", "Find which parts of the drive unit a noise recording fits, if any");
  app->add_option("RECORDING", o->recordings, "Recordings: WAV, FLAC or OGG")->required();
  keep_in_range(*app->add_option("--channel", o->channel, "Channel, counted from 1")
                     ->type_name("NUMBER")
                     ->default_str("the first that is not silent"),
                1, 1024);
  add_family_option(*app, o->family, {});
  add_vehicle_option(*app, o->vehicle);
  app->add_option("--tyre", o->tyre, "Tyre size, such as 225/50R16, instead of the vehicle's")
      ->type_name("SIZE");
  app->add_option(
         "--bearing", o->bearings,
         fmt::format("A bearing instead of a drive unit: n elements ({} to {}) of diameter "
                     "d, pitch diameter D ({} to {} times d), contact angle in degrees. "
                     "Repeatable, {} at most",
                     geometry::kLeastElements, geometry::kMostElements, geometry::kLeastPitch,
                     geometry::kMostPitch, geometry::kMostBearings))
      ->type_name("[NAME=]n:d:D:angle");
  app->add_option("--rotor-rpm", o->rotor_rpm,
                  "Constant speed: turns a minute of the rotor, or of the bearings' shaft")
      ->type_name("NUMBER");
  app->add_option("--speed", o->speed, "Constant road speed, such as 60km/h or 40mph")
      ->type_name("SPEED");
  app->add_option("--mark", o->marks,
                  "Speed read off at a moment, such as 0:05=30 or 0:05=20mph; repeatable")
      ->type_name("MIN:S=SPEED");
  app->add_option("--trace", o->trace,
                  "CSV of speeds: header seconds,km_per_h or seconds,mph or seconds,rpm")
      ->type_name("FILE");
  app->add_option("--load", o->loads,
                  "Load over a stretch, such as 0:05-0:12=accelerating (or steady, coasting); "
                  "repeatable")
      ->type_name("FROM-TO=LOAD");
  app->add_option("--false-alarm", o->false_alarm, "Accepted false-alarm probability per recording")
      ->type_name("NUMBER")
      ->default_str("0.001");
  add_format_option(*app, o->format, {"text", "json", "markdown", "html"});
  add_out_option(*app, o->out);
  app->add_option(
         "--into", o->into,
         "Write the finding into this record, so that assess uses it; its unit gives family and "
         "vehicle")
      ->type_name("RECORD");
  app->add_option("--unit", o->unit, "Which unit of that file, where it holds several")
      ->type_name("ID");
  app->add_option("--date", o->date, "Which inspection of that unit")
      ->type_name("DATE")
      ->default_str("the newest");
  for (const char* name : {"--bearing", "--mark", "--load"}) {
    // One value each time it is named, so that no file name is taken for one.
    app->get_option(name)->allow_extra_args(false);
  }
  add_data_options(*app, o->data);
  add_examples(*app,
               {{"A recording made in the car, at a constant speed.",
                 "dryshaft listen run.wav --family plover-2 --vehicle Tarn --speed 60km/h"},
                {"A bearing alone: 11 balls of 6.2 mm on a pitch circle of 43.5 mm.",
                 "dryshaft listen rig.wav --rotor-rpm 1450 --bearing rear=11:6.2:43.5:0"}},
               "Without a speed, it is estimated from the recording.");
  return [o] { return Listening(*o).run(); };
}

}  // namespace dryshaft::cli

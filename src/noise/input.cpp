// Speeds and loads as people write them, and the sound before its analysis.
#include "base/complaints.hpp"
#include "dryshaft/noise_input.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <utility>

#include "base/number.hpp"
#include "base/places.hpp"
#include "base/utf8.hpp"
#include "dryshaft/report.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

constexpr double kFastest = 500;       // km/h
constexpr double kMostTurns = 200000;  // a minute
constexpr double kLongestMoment = 1e6;
constexpr double kSecondsPerMinute = 60;
constexpr std::size_t kMostTracePoints = 1000000;

constexpr std::string_view kSpeedShape = "60km/h, 40mph";
constexpr std::string_view kMomentShape = "MINUTES:SECONDS, as in 1:02.5";
constexpr std::string_view kMarkShape = "MINUTES:SECONDS=SPEED, as in 0:05=30 or 0:05=20mph";
constexpr std::string_view kLoadShape = "FROM-TO=LOAD, as in 0:05-0:12=accelerating";

// Samples from here on count as at full scale: 16-bit sound reaches 0.99997 on its upper side. A
// channel with samples beyond is of numbers that full scale does not bound.
constexpr float kFullScale = 0.999F;
constexpr float kBeyondFullScale = 1.001F;
constexpr double kClippedWorthNaming = 1e-4;
// Up to here, of invented recordings driven ever further, faults grew fainter and none was made up.
constexpr double kClippedTooMuch = 0.5;
// A clip that is played twice has half of its stretches come again, but for the last one.
constexpr double kRepeats = 0.25;
// A side 60 dB below the loudest one holds crosstalk and hiss.
constexpr double kDeadBelow = 1e-6;  // power

std::string_view trimmed(std::string_view text) {
  constexpr std::string_view kBlank = " \t\r";
  const std::size_t begin = text.find_first_not_of(kBlank);
  if (begin == std::string_view::npos) {
    return {};
  }
  return text.substr(begin, text.find_last_not_of(kBlank) - begin + 1);
}

template <typename T>
Result<T> no(std::string_view text, std::string_view what, std::string_view why,
             std::string_view shape) {
  Result<T> result;
  Diagnostic d;
  d.code = "bad-value";
  d.message = fmt::format("\"{}\" is no {}{}{}", text, what, why.empty() ? "" : ": ", why);
  d.hint = shape;
  result.diagnostics.push_back(std::move(d));
  return result;
}

template <typename T>
Result<T> given(T value) {
  Result<T> result;
  result.value = std::move(value);
  return result;
}

// In km/h; what is wrong with it is said in `why`.
std::optional<double> speed_in(std::string_view text, bool may_stand, std::string& why) {
  std::string_view number = trimmed(text);
  double unit = 1;
  for (const auto& [name, km] :
       {std::pair{std::string_view("km/h"), 1.0}, std::pair{std::string_view("mph"), kKmPerMile}}) {
    if (number.ends_with(name)) {
      number.remove_suffix(name.size());
      unit = km;
      break;
    }
  }
  number = trimmed(number);
  const std::optional<double> value = number_in(number);
  if (!value) {
    why = number.empty() ? "there is no number" : fmt::format("\"{}\" is no number", number);
    return std::nullopt;
  }
  const double speed = *value * unit;
  if (speed < 0 || (speed == 0 && !may_stand) || speed > kFastest) {
    why = fmt::format("it must be {} 0 and at most {:.0f} km/h", may_stand ? "at least" : "above",
                      kFastest);
    return std::nullopt;
  }
  return speed;
}

std::optional<double> moment_in(std::string_view text) {
  const std::size_t colon = text.find(':');
  if (colon == std::string_view::npos) {
    return std::nullopt;
  }
  const std::optional<double> minutes = number_in(text.substr(0, colon));
  const std::optional<double> seconds = number_in(text.substr(colon + 1));
  const bool good = minutes && seconds && *minutes >= 0 && *minutes == std::floor(*minutes) &&
                    *seconds >= 0 && *seconds < kSecondsPerMinute &&
                    *minutes * kSecondsPerMinute < kLongestMoment;
  return good ? std::optional(*minutes * kSecondsPerMinute + *seconds) : std::nullopt;
}

}  // namespace

Result<double> parse_speed(std::string_view text) {
  std::string why;
  const std::optional<double> speed = speed_in(text, false, why);
  return speed ? given(*speed) : no<double>(text, "speed", why, kSpeedShape);
}

Result<double> parse_moment(std::string_view text) {
  const std::optional<double> moment = moment_in(text);
  return moment ? given(*moment) : no<double>(text, "time", "", kMomentShape);
}

Result<SpeedAt> parse_speed_mark(std::string_view text) {
  constexpr std::string_view kWhat = "mark";
  const std::size_t equals = text.find('=');
  if (equals == std::string_view::npos) {
    return no<SpeedAt>(text, kWhat, "it has no \"=\"", kMarkShape);
  }
  const std::optional<double> moment = moment_in(text.substr(0, equals));
  if (!moment) {
    return no<SpeedAt>(text, kWhat, fmt::format("\"{}\" is not a time", text.substr(0, equals)),
                       kMarkShape);
  }
  std::string why;
  const std::optional<double> speed = speed_in(text.substr(equals + 1), true, why);
  return speed ? given(SpeedAt{*moment, *speed}) : no<SpeedAt>(text, kWhat, why, kMarkShape);
}

Result<LoadMark> parse_load_mark(std::string_view text) {
  constexpr std::string_view kWhat = "load";
  const std::size_t equals = text.find('=');
  const std::size_t dash = text.find('-');
  if (equals == std::string_view::npos || dash == std::string_view::npos || dash > equals) {
    return no<LoadMark>(text, kWhat, "", kLoadShape);
  }
  const std::string_view parts[] = {text.substr(0, dash), text.substr(dash + 1, equals - dash - 1)};
  std::vector<double> moments;
  for (const std::string_view part : parts) {
    const std::optional<double> moment = moment_in(part);
    if (!moment) {
      return no<LoadMark>(text, kWhat, fmt::format("\"{}\" is not a time", part), kLoadShape);
    }
    moments.push_back(*moment);
  }
  if (!(moments[0] < moments[1])) {
    return no<LoadMark>(text, kWhat, "it ends before it begins", kLoadShape);
  }
  const std::string_view word = text.substr(equals + 1);
  const std::optional<Load> load = load_named(word);
  if (!load) {
    std::vector<std::string_view> known;
    for (std::size_t i = 0; i < kLoadCount; ++i) {
      known.push_back(name(static_cast<Load>(i)));
    }
    return no<LoadMark>(text, kWhat,
                        fmt::format("\"{}\" is none of {}{}", word, fmt::join(known, ", "),
                                    did_you_mean(word, known, "; ")),
                        kLoadShape);
  }
  return given(LoadMark{moments[0], moments[1], *load});
}

// ------------------------------------------------------------------ trace

namespace {

class TraceReader {
 public:
  TraceReader(std::string_view text, std::string_view source)
      : text_(text), places_(text, Origin{source}) {}

  Result<SpeedTrace> read() {
    if (text_.starts_with(utf8::kByteOrderMark)) {
      at_ = utf8::kByteOrderMark.size();
    }
    std::string_view line;
    do {
      if (!next(line)) {
        complain(at_, "no-trace", "holds no speeds").allowed = kHeaders;
        return std::move(result_);
      }
    } while (line.empty());
    if (!header(line)) {
      return std::move(result_);
    }
    while (next(line)) {
      if (!line.empty()) {
        row(line);
      }
    }
    if (result_.diagnostics.empty() && trace_.points.empty()) {
      complain(begin_, "no-trace", "no speeds follow the header");
    }
    if (result_.diagnostics.empty()) {
      result_.value = std::move(trace_);
    }
    return std::move(result_);
  }

 private:
  static constexpr std::string_view kHeaders = "seconds,km_per_h or seconds,mph or seconds,rpm";

  bool next(std::string_view& line) {
    if (at_ >= text_.size()) {
      return false;
    }
    const std::size_t end = std::min(text_.find('\n', at_), text_.size());
    const std::string_view whole = text_.substr(at_, end - at_);
    line = trimmed(whole);
    begin_ = line.empty() ? at_ : static_cast<std::size_t>(line.data() - text_.data());
    at_ = end + 1;
    return true;
  }

  Diagnostic& complain(std::size_t at, std::string_view code, std::string message) {
    return add_complaint(result_.diagnostics, places_.complaint(begin_, std::min(at, text_.size()),
                                                                code, std::move(message)));
  }

  bool header(std::string_view line) {
    const std::size_t comma = line.find(',');
    const std::string_view unit =
        comma == std::string_view::npos ? "" : trimmed(line.substr(comma + 1));
    if (trimmed(line.substr(0, comma)) == "seconds") {
      if (unit == "km_per_h" || unit == "mph" || unit == "rpm") {
        trace_.of_rotor = unit == "rpm";
        unit_ = unit == "mph" ? kKmPerMile : 1;
        return true;
      }
    }
    Diagnostic& d = complain(begin_, "bad-header", fmt::format("the first line is \"{}\"", line));
    d.allowed = kHeaders;
    if (line.find(';') != std::string_view::npos) {
      d.hint = "columns are separated by commas, and a number has a decimal point";
    }
    return false;
  }

  void row(std::string_view line) {
    const std::size_t comma = line.find(',');
    if (comma == std::string_view::npos || line.find(',', comma + 1) != std::string_view::npos) {
      complain(begin_, "bad-row",
               fmt::format("\"{}\" is not a time and a speed, separated by one comma", line));
      return;
    }
    const std::size_t second = begin_ + comma + 1;
    const std::optional<double> seconds = number(line.substr(0, comma), begin_);
    const std::optional<double> value = number(line.substr(comma + 1), second);
    if (!seconds || !value) {
      return;
    }
    if (std::abs(*seconds) > kLongestMoment) {
      complain(begin_, "bad-value", fmt::format("the time is {} s", *seconds)).allowed =
          fmt::format("{0:.0f} to {1:.0f} s", -kLongestMoment, kLongestMoment);
      return;
    }
    if (!trace_.points.empty() && *seconds <= trace_.points.back().seconds) {
      complain(begin_, "bad-order",
               fmt::format("{} s does not come after {} s of the row before", *seconds,
                           trace_.points.back().seconds));
      return;
    }
    const double speed = *value * unit_;
    const double most = trace_.of_rotor ? kMostTurns : kFastest;
    if (speed < 0 || speed > most) {
      complain(second, "bad-value", fmt::format("the speed is {}", *value)).allowed =
          fmt::format("0 to {:.0f} {}", most, trace_.of_rotor ? "turns a minute" : "km/h");
      return;
    }
    if (trace_.points.size() >= kMostTracePoints) {
      if (trace_.points.size() == kMostTracePoints && !too_long_) {
        too_long_ = true;
        complain(begin_, "too-long", fmt::format("holds more than {} rows", kMostTracePoints));
      }
      return;
    }
    trace_.points.push_back({*seconds, speed});
  }

  std::optional<double> number(std::string_view cell, std::size_t at) {
    const std::string_view text = trimmed(cell);
    const std::optional<double> value = number_in(text);
    if (!value) {
      complain(at, "bad-number",
               text.empty() ? std::string("a number is missing")
                            : fmt::format("\"{}\" is no number", text));
    }
    return value;
  }

  std::string_view text_;
  Places places_;
  std::size_t at_ = 0;
  std::size_t begin_ = 0;
  double unit_ = 1;
  bool too_long_ = false;
  SpeedTrace trace_;
  Result<SpeedTrace> result_;
};

}  // namespace

Result<SpeedTrace> parse_speed_trace(std::string_view text, std::string_view source) {
  return TraceReader(text, source).read();
}

// ------------------------------------------------------------------ sound

namespace {

// Spreads what differs in a few bits over all of them (the finaliser of SplitMix64: Steele, Lea and
// Flood 2014, from memory).
std::uint64_t mixed(std::uint64_t x) {
  x = (x ^ (x >> 30U)) * 0xBF58476D1CE4E5B9U;
  x = (x ^ (x >> 27U)) * 0x94D049BB133111EBU;
  return x ^ (x >> 31U);
}

constexpr std::uint64_t kBase = 0x9E3779B97F4A7C15U;  // of the polynomial that rolls; odd

// Of the frame that leaves a stretch: the base to the power of its length.
constexpr std::uint64_t kLeaving = [] {
  std::uint64_t power = 1;
  for (std::size_t i = 0; i < RepeatCheck::kStretch; ++i) {
    power *= kBase;
  }
  return power;
}();

std::size_t low_bits(std::uint64_t sum) { return sum & 0xFFFFU; }

}  // namespace

void RepeatCheck::add(std::uint64_t frame) {
  frame = mixed(frame);
  std::uint64_t& place = last_[frames_ % kStretch];
  const std::uint64_t before = last_[(frames_ + kStretch - 1) % kStretch];
  same_ = frame == before ? same_ + 1 : 0;
  sum_ = sum_ * kBase + frame - (frames_ >= kStretch ? place * kLeaving : 0);
  place = frame;
  ++frames_;
  if (frames_ < kStretch || same_ >= kStretch - 1) {
    return;  // of one value throughout: silence
  }
  if (maybe_[low_bits(sum_)]) {
    if (const auto found = places_.find(sum_); found != places_.end()) {
      kept_[found->second].again = true;
    }
  }
  if (frames_ % spacing_ == 0) {
    keep();
  }
}

void RepeatCheck::keep() {
  if (kept_.size() == kMostKept) {
    for (std::size_t i = 1; 2 * i < kMostKept; ++i) {
      kept_[i] = kept_[2 * i];
    }
    kept_.resize(kMostKept / 2);
    spacing_ *= 2;
    places_.clear();
    maybe_.assign(maybe_.size(), false);
    for (std::size_t i = 0; i < kept_.size(); ++i) {
      places_.emplace(kept_[i].sum, i);
      maybe_[low_bits(kept_[i].sum)] = true;
    }
  }
  const bool first = places_.emplace(sum_, kept_.size()).second;
  maybe_[low_bits(sum_)] = true;
  kept_.push_back({sum_, !first});
}

double RepeatCheck::share() const {
  const auto again = std::ranges::count(kept_, true, &Stretch::again);
  return kept_.empty() ? 0 : static_cast<double>(again) / static_cast<double>(kept_.size());
}

SoundCheck::SoundCheck(std::size_t channels) : channels_(channels) {}

void SoundCheck::add(std::span<const float> frames) {
  const std::size_t count = channels_.size();
  for (std::size_t c = 0; c < count; ++c) {
    Channel& channel = channels_[c];
    for (std::size_t i = c, frame = frames_; i < frames.size(); i += count, ++frame) {
      const float x = frames[i];
      if (!std::isfinite(x)) {
        channel.no_number = channel.no_number.value_or(frame);
        continue;
      }
      channel.sum += static_cast<double>(x);
      channel.squares += static_cast<double>(x) * static_cast<double>(x);
      channel.full += std::abs(x) >= kFullScale ? 1 : 0;
      channel.beyond = channel.beyond || std::abs(x) > kBeyondFullScale;
    }
  }
  for (std::size_t i = 0; i + count <= frames.size(); i += count) {
    std::uint64_t frame = 0;
    for (std::size_t c = 0; c < count; ++c) {
      frame = frame * kBase + std::bit_cast<std::uint32_t>(frames[i + c]);
    }
    repeats_.add(frame);
  }
  frames_ += count > 0 ? frames.size() / count : 0;
}

double SoundCheck::alternating_power(const Channel& channel) const {
  const auto n = static_cast<double>(std::max<std::size_t>(frames_, 1));
  const double mean = channel.sum / n;
  const double square = channel.squares / n;
  // What rounding leaves of a constant is no sound.
  constexpr double kRounding = 1e-12;
  const double power = square - mean * mean;
  return power > square * kRounding ? power : 0;
}

std::vector<bool> SoundCheck::alive() const {
  double loudest = 0;
  for (const Channel& c : channels_) {
    loudest = std::max(loudest, alternating_power(c));
  }
  std::vector<bool> alive;
  alive.reserve(channels_.size());
  for (const Channel& c : channels_) {
    const double power = alternating_power(c);
    alive.push_back(power > 0 && power >= loudest * kDeadBelow);
  }
  return alive;
}

Result<SoundCheck::Chosen> SoundCheck::choose(std::size_t wanted, double rate) const {
  Result<Chosen> result;
  const auto refuse = [&](std::string_view code, std::string message, std::string_view hint) {
    Diagnostic& d = result.diagnostics.emplace_back();
    d.code = code;
    d.message = std::move(message);
    d.hint = hint;
    return std::move(result);
  };
  const std::vector<bool> alive = this->alive();
  const auto first = static_cast<std::size_t>(std::ranges::find(alive, true) - alive.begin());
  if (wanted > channels_.size()) {
    return refuse("no-channel",
                  fmt::format("has {}, so there is no channel {}",
                              words::count(channels_.size(), "channel", "channels"), wanted),
                  "channels are counted from 1");
  }
  if (wanted > 0 && first < alive.size() && !alive[wanted - 1]) {
    return refuse("dead-channel",
                  fmt::format("channel {} is silent; channel {} is not", wanted, first + 1),
                  fmt::format("--channel {}", first + 1));
  }
  Chosen chosen;
  chosen.channel = wanted > 0 ? wanted : first < alive.size() ? first + 1 : 1;
  const Channel& channel = channels_[chosen.channel - 1];
  if (channel.no_number) {
    return refuse("bad-sample",
                  fmt::format("sample {} (at {:.3f} s) is not a number", *channel.no_number + 1,
                              static_cast<double>(*channel.no_number) / rate),
                  "save it again in whole numbers, such as 16 bit");
  }
  const double clipped = channel.beyond
                             ? 0
                             : static_cast<double>(channel.full) /
                                   static_cast<double>(std::max<std::size_t>(frames_, 1));
  if (clipped > kClippedTooMuch) {
    return refuse("clipped",
                  fmt::format("is overdriven: {:.0f} % of its samples are clipped", clipped * 100),
                  "record again at a lower level");
  }
  for (std::size_t c = 0; c < alive.size(); ++c) {
    if (!alive[c] && first < alive.size()) {
      chosen.limits.push_back(fmt::format("Channel {} of {} is silent; channel {} was used.", c + 1,
                                          alive.size(), chosen.channel));
    }
  }
  if (clipped > kClippedWorthNaming) {
    chosen.limits.push_back(fmt::format(
        "{} of the samples are clipped, which adds multiples of strong lines: do not trust levels; "
        "record again at a lower level.",
        clipped < 0.001 ? std::string("Under 0.1 %") : fmt::format("{:.1f} %", clipped * 100)));
  }
  chosen.repeats = repeats_.share() > kRepeats;
  result.value = std::move(chosen);
  return result;
}

}  // namespace dryshaft

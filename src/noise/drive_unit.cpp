// A drive unit in a car: speed found or borne out by the gearing's lines,
// order spectra, then bearings by envelopes and tones by the sound itself.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

#include "dryshaft/noise.hpp"
#include "noise/mains.hpp"
#include "noise/orders.hpp"
#include "noise/peaks.hpp"
#include "noise/search.hpp"
#include "noise/sources.hpp"
#include "noise/track.hpp"

namespace dryshaft {
namespace {

using noise::BandEnvelope;
using noise::decibels;
using noise::Mask;
using noise::OrderAnalyser;
using noise::Spectrum;
using noise::Tone;

constexpr std::size_t kPiece = std::size_t{1} << 15U;  // samples read at a time
constexpr std::size_t kFewestBlocks = 4;
constexpr double kLeastRate = 4000;
constexpr double kRigid = 0.001;  // share by which the speed may still be off

// Reads all of it, piece by piece.
template <typename Use>
double each_piece(const Recording& recording, Use use) {
  std::vector<float> samples(kPiece);
  double count = 0;
  for (std::size_t got = recording.read(samples); got > 0; got = recording.read(samples)) {
    use(std::span<const float>(samples).first(got));
    count += static_cast<double>(got);
  }
  return count / recording.rate;
}

std::vector<double> comb_of(const std::vector<Tone>& tones) {
  std::vector<double> comb;
  for (const Tone& tone : tones) {
    for (std::size_t k = 1; tone.for_comb && k <= tone.multiples; ++k) {
      const double order = tone.order * static_cast<double>(k);
      const bool again =
          std::ranges::any_of(comb, [&](double c) { return std::abs(c - order) < 0.01 * order; });
      if (order < OrderAnalyser::kHighestSound && !again) {
        comb.push_back(order);
      }
    }
  }
  return comb;
}

struct Stretch {
  double factor = 1;  // an order shows at this times itself
  std::size_t standing = 0;
  std::size_t elsewhere = 0;  // most lines that stand at another factor
};
// By how much all orders are off, within `most`: the comb's lines in the order spectrum.
Stretch stretch_of(const Spectrum& sound, const std::vector<double>& floor,
                   const std::vector<double>& comb, double per_order, double most) {
  constexpr double kMostOfOne = 5;  // log of power over floor
  const double stands = noise::standing_level(sound.blocks);
  const double step = 0.25 / (per_order * *std::ranges::max_element(comb));
  Stretch best;
  double best_sum = 0;
  std::vector<Stretch> all;
  for (double s = -most; s <= most; s += step) {
    Stretch at{1 + s};
    double sum = 0;
    for (const double order : comb) {
      const auto i = static_cast<std::size_t>(std::lround(order * at.factor * per_order));
      if (i < sound.power.size()) {
        const double q = sound.power[i] / floor[i];
        sum += std::clamp(std::log(std::max(q, 1e-9)), 0.0, kMostOfOne);
        at.standing += q > stands ? 1 : 0;
      }
    }
    if (sum > best_sum) {
      best_sum = sum;
      best = at;
    }
    all.push_back(at);
  }
  constexpr double kAnother = 0.015;
  for (const Stretch& other : all) {
    if (std::abs(other.factor - best.factor) > kAnother) {
      best.elsewhere = std::max(best.elsewhere, other.standing);
    }
  }
  return best;
}

// How many of the comb's lines stand in long blocks along a track.
constexpr std::size_t kShortBlock = 64;  // turns
constexpr double kAfterTrack = 0.006;    // share by which a track may still be off
std::size_t standing_along(const Recording& recording, const std::vector<SpeedPoint>& track,
                           double seconds, const std::vector<double>& comb) {
  const noise::SpeedCurve curve(track, seconds);
  OrderAnalyser analyser(recording.rate, curve, kShortBlock, {}, false);
  recording.rewind();
  each_piece(recording, [&](std::span<const float> samples) { analyser.add(samples); });
  analyser.finish();
  if (analyser.blocks() < kFewestBlocks) {
    return 0;
  }
  const Spectrum sound = analyser.sound();
  const std::vector<double> floor = noise::noise_floor(sound, kShortBlock);
  return stretch_of(sound, floor, comb, analyser.per_order(), kAfterTrack).standing;
}

// Frames to track the speed in, as multiples of the shortest: the longer, the more steadily it has
// to be held.
std::span<const std::size_t> frames_for(const GivenSpeed& speed) {
  static constexpr std::array<std::size_t, 3> kAll = {8, 4, 2};
  static constexpr std::array<std::size_t, 1> kNothingGiven = {1};
  constexpr double kHeld = 0.01;  // share
  if (speed.points.empty()) {
    return kNothingGiven;
  }
  const auto [least, most] = std::ranges::minmax(speed.points, {}, &SpeedPoint::rpm);
  const bool held = most.rpm - least.rpm <= kHeld * most.rpm;
  return std::span(kAll).subspan(held ? 0 : 2);
}

// All that is taken from the recording before parts are named.
struct Heard {
  const OrderAnalyser& analyser;
  Spectrum sound;
  std::vector<double> floor;
  std::vector<BandEnvelope> bands;
  double per_order = 1;  // lines for a true order
  std::vector<Tone> tones;
  std::vector<double> shafts;

  [[nodiscard]] double near(double order) const { return 1.5 + kRigid * order * per_order; }
  struct Peak {
    std::size_t line = 0;
    double over = 0;  // power over floor
    std::size_t looked_at = 0;
  };
  // The strongest line within `loose` of the order, as a share.
  [[nodiscard]] Peak peak(double order, double loose) const {
    Peak p;
    const double place = order * per_order;
    const double wide = near(order) + loose * place;
    const auto from = static_cast<std::size_t>(std::max(std::ceil(place - wide), 0.0));
    for (std::size_t i = from; i < sound.power.size() && static_cast<double>(i) <= place + wide;
         ++i) {
      ++p.looked_at;
      if (const double q = sound.power[i] / floor[i]; q > p.over) {
        p.over = q;
        p.line = i;
      }
    }
    return p;
  }
  // Share of the blocks in which a line of the sound stands by itself.
  [[nodiscard]] double share(std::size_t line) const {
    constexpr double kStands = 9;  // dB in a single row
    return share_of([&](const OrderAnalyser::Row& row) {
      double top = -100;
      for (std::size_t i = line > 0 ? line - 1 : 0; i <= line + 1 && i < row.sound.size(); ++i) {
        top = std::max(top, OrderAnalyser::sound_db(row, i));
      }
      return top > kStands;
    });
  }
  [[nodiscard]] double share(std::size_t band, std::size_t line, double line_floor) const {
    constexpr double kStands = 7;
    return share_of([&](const OrderAnalyser::Row& row) {
      double top = -1000;
      for (std::size_t i = line > 0 ? line - 1 : 0; i <= line + 1 && i < analyser.envelope_lines();
           ++i) {
        top = std::max(top, analyser.envelope_db(row, band, i));
      }
      return top - decibels(line_floor) > kStands;
    });
  }

 private:
  template <typename Test>
  [[nodiscard]] double share_of(Test test) const {
    double all = 0;
    double stands = 0;
    for (const OrderAnalyser::Row& row : analyser.rows()) {
      all += static_cast<double>(row.blocks);
      stands += test(row) ? static_cast<double>(row.blocks) : 0;
    }
    return all > 0 ? stands / all : -1;
  }
};

// Lines of all shafts but the rotor, which every bearing search leaves out anyway.
void leave_out_other_shafts(const Heard& heard, Mask& mask, double highest) {
  constexpr int kOfWheel = 9;
  for (std::size_t i = 1; i < heard.shafts.size(); ++i) {
    const bool wheel = i + 1 == heard.shafts.size();
    for (int k = 1; heard.shafts[i] * k <= highest && !(wheel && k > kOfWheel); ++k) {
      const double order = heard.shafts[i] * k;
      mask.leave_out(order * heard.per_order, heard.near(order), LeftOut::shaft_order);
    }
  }
}

// Two tones in one band beat: their difference shows in its envelope.
void leave_out_beats(const Heard& heard, Mask& mask) {
  constexpr double kStrong = 15;  // dB over the floor
  std::vector<double> strong;
  for (const Tone& tone : heard.tones) {
    for (std::size_t k = 1; k <= tone.multiples; ++k) {
      const double order = tone.order * static_cast<double>(k);
      const Heard::Peak p = heard.peak(order, tone.loose);
      if (decibels(p.over) > kStrong) {
        strong.push_back(static_cast<double>(p.line) / heard.per_order);
      }
    }
  }
  for (std::size_t i = 0; i < strong.size(); ++i) {
    for (std::size_t j = i + 1; j < strong.size(); ++j) {
      const double beat = std::abs(strong[i] - strong[j]);
      mask.leave_out(beat * heard.per_order, 2.0, LeftOut::shaft_order);
    }
  }
}

// Known tones of the sound, with sidebands of all shafts.
void leave_out_tones(const Heard& heard, Mask& mask) {
  constexpr int kSidebands = 3;
  for (const Tone& tone : heard.tones) {
    for (std::size_t k = 1; k <= tone.multiples; ++k) {
      const double order = tone.order * static_cast<double>(k);
      const double wide = tone.loose * order * heard.per_order;
      mask.leave_out(order * heard.per_order, heard.near(order) + wide, LeftOut::named_already);
      for (const double shaft : heard.shafts) {
        for (int m = -kSidebands; m <= kSidebands; ++m) {
          const double side = order + m * shaft;
          if (side > 0) {
            mask.leave_out(side * heard.per_order, heard.near(side) + wide, LeftOut::shaft_order);
          }
        }
      }
    }
  }
}

struct TonesFound {
  std::vector<Attribution> named;
  double decoys = 0;  // share at which a tone would be named as well
};
// `highest`: order that the recording's samples reach.
TonesFound named_tones(const Heard& heard, double highest, const NoiseOptions& options) {
  std::vector<Attribution> all;
  std::size_t places = 0;
  for (const Tone& tone : heard.tones) {
    Attribution a;
    static_cast<PartKind&>(a) = tone.what;
    a.expected_order = tone.order;
    double best = 0;
    for (std::size_t k = 1; k <= tone.multiples; ++k) {
      const double order = tone.order * static_cast<double>(k);
      if (order >= OrderAnalyser::kHighestSound) {
        break;
      }
      const Heard::Peak p = heard.peak(order, tone.loose);
      places += p.looked_at;
      ++a.lines;
      a.standing += p.over > noise::standing_level(heard.sound.blocks) ? 1 : 0;
      if (p.over > best) {
        best = p.over;
        a.found_order = static_cast<double>(p.line) / heard.per_order / static_cast<double>(k);
        a.level_db = decibels(p.over);
        a.share = heard.share(p.line);
      }
    }
    a.p_value = noise::chance_of_sum(best, 1, heard.sound.blocks);
    all.push_back(std::move(a));
  }
  const auto is_clear = [&](double p_value, double level_db) {
    constexpr double kLeastDb = 6;
    return p_value * static_cast<double>(places) <= options.false_alarm && level_db >= kLeastDb;
  };
  TonesFound found;
  found.decoys = noise::share_of_decoys(1, highest, [&](double order) {
    const double over = heard.peak(order, 0).over;
    return is_clear(noise::chance_of_sum(over, 1, heard.sound.blocks), decibels(over));
  });
  std::vector<Attribution>& named = found.named;
  for (Attribution& a : all) {
    constexpr double kEven = 10;  // dB at which the confidence is a half
    const bool clear = is_clear(a.p_value, a.level_db);
    a.p_value = std::min(1.0, a.p_value * static_cast<double>(places));
    a.confidence = std::max(a.level_db, 0.0) / (std::max(a.level_db, 0.0) + kEven);
    if (!clear) {
      continue;
    }
    const auto same = std::ranges::find_if(named, [&](const Attribution& n) { return n == a; });
    if (same != named.end()) {
      if (a.level_db > same->level_db) {
        *same = std::move(a);
      }
      continue;
    }
    named.push_back(std::move(a));
  }
  // What fits the same line.
  for (Attribution& a : named) {
    for (const Attribution& other : named) {
      if (!(other == a) && std::abs(a.found_order - other.found_order) * heard.per_order < 2) {
        a.shared_with.push_back(other);
      }
    }
  }
  std::ranges::stable_sort(named, std::ranges::greater{}, &Attribution::level_db);
  return found;
}

constexpr double kHighMultiple = 4;  // flutes are many: their tone lies far above the race order

// A race's multiples as tones in the sound itself: what flutes make.
struct RaceTones {
  Attribution found;
  double centre = 0;  // mean multiple
};
// `combs`: gets those whose lines they are instead.
std::vector<RaceTones> race_tones(const Heard& heard, std::span<const Bearing* const> bearings,
                                  const NoiseOptions& options, std::vector<noise::Comb>& combs) {
  constexpr double kMostOfOne = 200;
  constexpr std::size_t kEnough = 3;
  constexpr double kLeastDb = 6;
  constexpr double kRotorMultiples = OrderAnalyser::kHighestSound;
  Mask mask(heard.sound.power.size());
  for (int k = 1; k <= kRotorMultiples; ++k) {
    mask.leave_out(k * heard.per_order, heard.near(k), LeftOut::shaft_order);
  }
  leave_out_other_shafts(heard, mask, heard.shafts.size() > 1 ? kRotorMultiples / 4 : 0);
  leave_out_tones(heard, mask);
  const noise::Combs in_sound(heard.sound, heard.floor, heard.per_order, kRigid);
  std::vector<RaceTones> all;
  for (const Bearing* bearing : bearings) {
    for (const NoiseKind kind : {NoiseKind::outer_race, NoiseKind::inner_race}) {
      RaceTones r;
      r.found.part = bearing->name;
      r.found.kind = kind;
      r.found.expected_order = noise::order_of(defect_orders(*bearing), kind);
      const noise::Family f = noise::find_family(
          heard.sound, heard.floor, mask,
          {heard.per_order, r.found.expected_order, options.slip,
           static_cast<std::size_t>(OrderAnalyser::kHighestSound / r.found.expected_order),
           kMostOfOne});
      if (f.lines == 0) {
        continue;
      }
      r.found.found_order = f.order;
      r.found.lines = f.lines;
      r.found.standing = f.standing;
      r.found.excluded = f.excluded;
      r.found.level_db = decibels(f.sum / static_cast<double>(f.lines));
      noise::Mask others = mask;
      noise::leave_out_lines_of(others, *bearing, kind, f.order, OrderAnalyser::kHighestSound,
                                heard.per_order, {kRigid, 0, 4});
      others.take_feet(heard.sound, heard.floor);
      r.found.p_value = std::min(
          1.0, std::max(f.p_value, noise::chance_of_others(heard.sound, heard.floor, others, f)) *
                   static_cast<double>(f.places * bearings.size()) * 2);
      r.centre = f.centre;
      constexpr double kEven = 10;
      r.found.confidence =
          std::max(r.found.level_db, 0.0) / (std::max(r.found.level_db, 0.0) + kEven);
      if (r.found.p_value <= options.false_alarm && f.standing >= kEnough &&
          f.centre >= kHighMultiple && r.found.level_db >= kLeastDb) {
        noise::Comb comb = noise::slower_thing(in_sound, f, mask, 0);
        if (comb.spacing > 0) {
          comb.p_value = r.found.p_value;
          combs.push_back(comb);
          continue;
        }
        r.found.share = heard.share(static_cast<std::size_t>(
            std::lround(f.order * std::round(f.centre) * heard.per_order)));
        all.push_back(std::move(r));
      }
    }
  }
  std::ranges::stable_sort(all, [](const RaceTones& a, const RaceTones& b) {
    return a.found.standing != b.found.standing ? a.found.standing > b.found.standing
                                                : a.found.level_db > b.found.level_db;
  });
  return all;
}

// What knocks at the spacing of a comb. `off`: share by which the speed may be off.
PartKind knocks_at(const Heard& heard, double spacing, double off) {
  // The spacing is as fine as its search, and what turns with the car exact.
  const double near = (0.15 / heard.per_order / spacing + 0.002 + off) * spacing;
  const double wheel = heard.shafts.back();
  constexpr std::array kBallsOfJoint = {3, 6};
  if (heard.shafts.size() > 1) {
    if (std::abs(spacing - wheel) < near) {
      return {"wheel and tyre", NoiseKind::wheel};
    }
    for (const int balls : kBallsOfJoint) {
      if (std::abs(spacing - balls * wheel) < near) {
        return {"half-shaft joint", NoiseKind::joint};
      }
    }
    for (std::size_t i = 1; i + 1 < heard.shafts.size(); ++i) {
      if (std::abs(spacing - heard.shafts[i]) < near) {
        return {fmt::format("gear shaft {}", i + 1), NoiseKind::shaft};
      }
    }
  }
  return {fmt::format("{:.2f} times a turn of the rotor", spacing), NoiseKind::elsewhere};
}

// The comb of what turns with the wheels, where most of its lines stand: of a flat spot, or of a
// joint that knocks 3 or 6 times a turn.
std::vector<noise::Comb> wheel_combs(const Heard& heard, const Mask& mask,
                                     const NoiseOptions& options) {
  std::vector<noise::Comb> all;
  if (heard.shafts.size() < 2) {
    return all;
  }
  constexpr double kMostStand = 0.6;   // share of the lines
  constexpr double kLessBeside = 0.5;  // level half way between them
  struct Step {
    double turns;     // of the wheel, in a knock
    std::size_t but;  // multiples that a faster one makes as well
  };
  constexpr std::array kSteps = {Step{1, 3}, Step{3, 2}, Step{6, 0}};
  for (const BandEnvelope& band : heard.bands) {
    const noise::Combs combs(band.spectrum, band.floor, heard.per_order, noise::kLineWidth);
    for (const Step& step : kSteps) {
      const double spacing = step.turns * heard.shafts.back();
      noise::Comb comb = combs.at(spacing, mask, step.but);
      if (static_cast<double>(comb.standing) < kMostStand * static_cast<double>(comb.lines) ||
          combs.at(spacing, mask, step.but, true).level > kLessBeside * comb.level) {
        continue;
      }
      if (comb.lines > 0 && comb.depth >= options.least_depth) {
        comb.p_value = 0;
        comb.band_low = band.low;
        comb.band_high = band.high;
        all.push_back(comb);
      }
      break;
    }
  }
  return all;
}

// What a bearing was not named for, since it is the rhythm of a slower thing: what is known first.
std::vector<Attribution> named_combs(std::vector<noise::Comb> combs, const Heard& heard, double off,
                                     const NoiseOptions& options) {
  std::ranges::stable_sort(combs, std::ranges::greater{}, &noise::Comb::depth);
  std::vector<Attribution> all;
  for (const noise::Comb& comb : combs) {
    Attribution a;
    static_cast<PartKind&>(a) = knocks_at(heard, comb.spacing, off);
    const bool unknown = a.kind == NoiseKind::elsewhere;
    const bool again = std::ranges::any_of(
        all, [&](const Attribution& other) { return unknown ? other.kind == a.kind : other == a; });
    if (again) {
      continue;
    }
    a.expected_order = a.found_order = comb.spacing;
    a.depth = comb.depth;
    constexpr double kDecibels = 4.3429;  // of a natural logarithm of power
    a.level_db = kDecibels * comb.level;
    a.p_value = comb.p_value;
    a.confidence = comb.depth / (comb.depth + options.least_depth);
    a.band_low_hz = comb.band_low;
    a.band_high_hz = comb.band_high;
    a.lines = comb.lines;
    a.standing = comb.standing;
    all.push_back(std::move(a));
  }
  // An unknown one beside a known one is most likely a part of its rhythm.
  if (std::ranges::any_of(all,
                          [](const Attribution& a) { return a.kind != NoiseKind::elsewhere; })) {
    std::erase_if(all, [](const Attribution& a) { return a.kind == NoiseKind::elsewhere; });
  }
  // A joint's rhythm is every third or sixth line of a wheel's.
  if (std::ranges::find(all, NoiseKind::wheel, &PartKind::kind) != all.end()) {
    std::erase_if(all, [](const Attribution& a) { return a.kind == NoiseKind::joint; });
  }
  return all;
}

// Whether lines of an inner race have those beside them that its turning with the shaft makes.
bool turns_with_shaft(const Heard& heard, const Attribution& a) {
  if (a.kind != NoiseKind::inner_race || !(a.band_high_hz > 0)) {
    return false;
  }
  const BandEnvelope& band = heard.bands[noise::band_to_show(heard.bands, {a})];
  constexpr double kStand = 1.0;  // mean log of power over floor
  return noise::sidebands(band.spectrum, band.floor, a.found_order, 1, heard.per_order) > kStand;
}

// The deepest modulation at an order in any band.
double modulation(const std::vector<BandEnvelope>& bands, double order, double per_order) {
  const auto place = static_cast<std::size_t>(std::lround(order * per_order));
  double most = 0;
  for (const BandEnvelope& band : bands) {
    for (std::size_t i = place - 1; i <= place + 1 && i < band.spectrum.power.size(); ++i) {
      most = std::max(most, band.spectrum.power[i]);
    }
  }
  return std::sqrt(most);
}

PatternFound pattern_of(const Attribution& bearing, const std::vector<RaceTones>& tones,
                        const std::vector<BandEnvelope>& bands, double per_order) {
  // Mean of the squared envelope's square: 2 for noise, less for steady tones.
  constexpr double kImpulsive = 2.5;
  constexpr double kSteady = 1.8;
  constexpr double kHardlyModulated = 0.25;  // depth at the race's order
  constexpr std::size_t kManyMultiples = 3;
  const auto tone = std::ranges::find_if(
      tones, [&](const RaceTones& t) { return static_cast<const PartKind&>(t.found) == bearing; });
  const bool tones_stand = tone != tones.end() && tone->centre >= kHighMultiple;
  const bool by_envelope = bearing.band_high_hz > 0;
  const double kurtosis = by_envelope ? bands[noise::band_to_show(bands, {bearing})].kurtosis : 2.0;
  if (bearing.kind == NoiseKind::cage) {
    return {DamagePattern::unclear, "The cage's turn alone shows nothing about the races."};
  }
  const bool steady = by_envelope
                          ? kurtosis < kSteady
                          : modulation(bands, bearing.found_order, per_order) < kHardlyModulated;
  if (tones_stand && steady) {
    return {DamagePattern::washboard,
            fmt::format("Steady tones at {} multiples of the race's order, around its {:.0f}th. "
                        "Many near-equal flutes make them, not the clicks of one defect.",
                        tone->found.standing, tone->centre)};
  }
  if (tones_stand && kurtosis < kImpulsive) {
    return {DamagePattern::unclear,
            "Tones at high multiples of the race's order swell and fade as it turns. They come "
            "from many flutes, or from the clicks of one defect that follow each other too fast to "
            "separate. A recording over a range of speeds shows more."};
  }
  if (bearing.standing >= kManyMultiples || kurtosis >= kImpulsive) {
    return {DamagePattern::single_defect,
            fmt::format("Clicks that ring between {:.0f} and {:.0f} Hz, with {} multiples of their "
                        "order{}. One defect makes such clicks.",
                        bearing.band_low_hz, bearing.band_high_hz, bearing.standing,
                        tones_stand ? "" : ", and no steady tones at its high multiples")};
  }
  return {DamagePattern::unclear,
          "Neither clear clicks nor steady tones at high multiples of the race's order."};
}

// Level of a part's strongest line under each load.
std::vector<LoadLevels> compare_loads(const Heard& heard, const std::vector<Attribution>& named) {
  constexpr std::size_t kFewestRows = 2;
  std::vector<LoadLevels> all;
  for (const Attribution& a : named) {
    LoadLevels levels;
    levels.part = a.part;
    levels.kind = a.kind;
    std::array<double, kLoadCount> sums{};
    std::array<std::size_t, kLoadCount> counts{};
    std::size_t band = heard.bands.size();
    for (std::size_t b = 0; b < heard.bands.size(); ++b) {
      if (a.band_high_hz > 0 && heard.bands[b].low == a.band_low_hz &&
          heard.bands[b].high == a.band_high_hz) {
        band = b;
      }
    }
    const auto line = static_cast<std::size_t>(std::lround(a.found_order * heard.per_order));
    const bool in_band = band < heard.bands.size() && line < heard.bands[band].floor.size();
    const double floor = in_band ? heard.bands[band].floor[line] : 1;
    for (const OrderAnalyser::Row& row : heard.analyser.rows()) {
      if (row.load < 0) {
        continue;
      }
      const auto load = static_cast<std::size_t>(row.load);
      const auto top = [&](auto level, std::size_t lines) {
        double most = -200;
        for (std::size_t i = line > 0 ? line - 1 : 0; i <= line + 1 && i < lines; ++i) {
          most = std::max(most, level(i));
        }
        return most;
      };
      const double db =
          in_band ? top([&](std::size_t i) { return heard.analyser.envelope_db(row, band, i); },
                        heard.analyser.envelope_lines()) -
                        decibels(floor)
                  : top([&](std::size_t i) { return OrderAnalyser::sound_db(row, i); },
                        row.sound.size());
      sums[load] += std::pow(10, db / 10);
      ++counts[load];
    }
    for (std::size_t i = 0; i < kLoadCount; ++i) {
      if (counts[i] >= kFewestRows) {
        levels.level_db[i] = decibels(sums[i] / static_cast<double>(counts[i]));
      }
    }
    all.push_back(std::move(levels));
  }
  return all;
}

OrderMap map_of(const OrderAnalyser& analyser, double per_order) {
  constexpr std::size_t kColumns = 400;
  OrderMap map;
  const std::size_t n = analyser.rows().empty() ? 0 : analyser.rows()[0].sound.size();
  const std::size_t step = std::max<std::size_t>((n + kColumns - 1) / kColumns, 1);
  map.order_spacing = static_cast<double>(step) / per_order;
  for (const OrderAnalyser::Row& row : analyser.rows()) {
    map.seconds.push_back(row.seconds);
    std::vector<float>& levels = map.level_db.emplace_back();
    levels.reserve(kColumns);
    for (std::size_t i = 0; i < n; i += step) {
      double top = -100;
      for (std::size_t j = i; j < std::min(i + step, n); ++j) {
        top = std::max(top, OrderAnalyser::sound_db(row, j));
      }
      levels.push_back(static_cast<float>(top));
    }
  }
  return map;
}

std::vector<noise::Known> known_to_machine(const Heard& heard,
                                           const std::vector<Attribution>& named) {
  constexpr int kSidebands = 2;
  std::vector<noise::Known> known;
  const auto add = [&](double order, double loose, std::string what) {
    if (order > 0) {
      known.push_back({order, (heard.near(order)) / heard.per_order + loose, std::move(what)});
    }
  };
  for (const Tone& tone : heard.tones) {
    for (std::size_t k = 1; k <= tone.multiples; ++k) {
      const double order = tone.order * static_cast<double>(k);
      add(order, tone.loose * order,
          fmt::format("{} x {} ({})", k, tone.what.part, title(tone.what.kind)));
    }
  }
  std::vector<noise::Known> bearings =
      noise::known_orders(named, OrderAnalyser::kHighestSound, heard.per_order);
  std::move(bearings.begin(), bearings.end(), std::back_inserter(known));
  for (const Tone& tone : heard.tones) {
    for (std::size_t k = 1; tone.what.kind == NoiseKind::mesh && k <= tone.multiples; ++k) {
      for (std::size_t s = 0; s < heard.shafts.size(); ++s) {
        for (int m = -kSidebands; m <= kSidebands; ++m) {
          if (m != 0) {
            add(tone.order * static_cast<double>(k) + m * heard.shafts[s], 0,
                fmt::format("{} x {}, {} {} x shaft {}", k, tone.what.part, m < 0 ? "less" : "plus",
                            std::abs(m), s + 1));
          }
        }
      }
    }
  }
  return known;
}

}  // namespace

Result<NoiseReport> listen_to_machine(const Recording& recording, const Machine& machine,
                                      const GivenSpeed& speed, const std::vector<LoadMark>& loads,
                                      const NoiseOptions& options) {
  Result<NoiseReport> result;
  const auto refuse = [&](std::string_view code, std::string message, std::string_view hint) {
    result.diagnostics.push_back(noise::noise_complaint(code, std::move(message), hint));
    return result;
  };
  if (recording.rate < kLeastRate) {
    return refuse("bad-rate",
                  fmt::format("has {:.0f} samples a second; a drive unit needs {:.0f} or more",
                              recording.rate, kLeastRate),
                  noise::kBetterRecorder);
  }
  if (std::string what = complaint_about(machine); !what.empty()) {
    return refuse("bad-geometry", std::move(what), {});
  }
  NoiseReport report;
  report.rate = recording.rate;
  report.false_alarm = options.false_alarm;
  const std::vector<Tone> tones = noise::tones_of(machine);
  const std::vector<double> comb = comb_of(tones);

  // First reading: how long it is, whether it holds anything, how the speed runs.
  constexpr double kLongest = 24 * 3600.0;
  const bool given = !speed.points.empty();
  std::optional<noise::SpeedCurve> curve;
  if (given) {
    curve.emplace(speed.points, std::clamp(speed.points.back().seconds, 1.0, kLongest));
  }
  std::vector<noise::Tracker> trackers;
  for (const std::size_t finer : frames_for(speed)) {
    trackers.emplace_back(recording.rate, comb, given ? &*curve : nullptr, options.speed_band,
                          finer);
  }
  float least = 1e30F;
  float most = -1e30F;
  report.seconds = each_piece(recording, [&](std::span<const float> samples) {
    for (const float x : samples) {
      least = std::min(least, x);
      most = std::max(most, x);
    }
    for (noise::Tracker& tracker : trackers) {
      tracker.add(samples);
    }
  });
  if (!(least < most)) {
    return refuse("silent", "holds nothing but silence", "was the microphone plugged in?");
  }
  noise::Track track = trackers.front().finish();
  for (std::size_t i = 1; i < trackers.size(); ++i) {
    if (noise::Track other = trackers[i].finish(); other.over > track.over) {
      track = std::move(other);
    }
  }
  if (track.clear && !track.alternative.empty()) {
    // In frames that short, strong lines of something else fit the comb by accident: long blocks
    // along each track tell them apart.
    constexpr std::size_t kMore = 3;
    const std::size_t own = standing_along(recording, track.points, report.seconds, comb);
    const std::size_t other = standing_along(recording, track.alternative, report.seconds, comb);
    if (other >= own + kMore) {
      std::swap(track.points, track.alternative);
    }
    if (std::max(own, other) >= std::min(own, other) + kMore) {
      track.alternative.clear();
    } else if (given) {
      track.clear = false;  // what was given is better then
    }
  }
  report.speed.basis = speed.basis;
  report.speed.shaft_lines = track.clear ? track.lines : 0;
  if (!given && !track.clear) {
    report.limits.emplace_back(
        "No lines have the ratios that this gearing fixes, so the speed is not known and nothing "
        "is named. Give the speed, or record at a steady pull.");
    result.value = std::move(report);
    return result;
  }
  std::vector<SpeedPoint> points = track.clear ? track.points : speed.points;
  if (given && !track.clear) {
    // Would they fit another speed?
    noise::Tracker anywhere(recording.rate, comb, nullptr, 0);
    recording.rewind();
    each_piece(recording, [&](std::span<const float> samples) { anywhere.add(samples); });
    const noise::Track other = anywhere.finish();
    std::string said =
        "No lines of the gearing stand out at the speed given, so it is used as given.";
    if (other.clear) {
      const noise::SpeedCurve instead(other.points, report.seconds);
      const noise::SpeedCurve told(speed.points, report.seconds);
      const double turns = instead.turns(report.seconds);
      said += fmt::format(
          " Lines would fit the gearing at a mean of {:.0f} rpm of the rotor, {:.2f} "
          "times that given, so the speed may be wrong.",
          turns / report.seconds * 60, turns / told.turns(report.seconds));
    }
    report.limits.push_back(std::move(said));
  }
  const noise::SpeedCurve used(points, report.seconds);
  const double turns = used.turns(report.seconds);

  // Second reading, in the angle domain. A tracked speed is not good enough for long blocks.
  constexpr double kFewestTurns = 128;
  constexpr std::size_t kLongBlock = 128;
  constexpr double kTurnsForLong = 2000;
  const std::size_t block = turns >= kTurnsForLong ? kLongBlock : kShortBlock;
  if (turns < kFewestTurns) {
    return refuse("too-short",
                  fmt::format("holds {:.0f} turns of the rotor; at least {:.0f} are needed", turns,
                              kFewestTurns),
                  "record longer, or at a higher speed");
  }
  OrderAnalyser analyser(recording.rate, used, block, loads);
  recording.rewind();
  each_piece(recording, [&](std::span<const float> samples) { analyser.add(samples); });
  analyser.finish();
  if (analyser.blocks() < kFewestBlocks) {
    return refuse(
        "too-slow",
        fmt::format("holds {} stretches of {} turns at a usable speed; at least {} are needed",
                    analyser.blocks(), block, kFewestBlocks),
        "record longer, or at a higher speed");
  }

  Heard heard{analyser,
              analyser.sound(),
              {},
              analyser.envelopes(),
              analyser.per_order(),
              tones,
              noise::shaft_orders(machine)};
  heard.floor = noise::noise_floor(heard.sound, std::max<std::size_t>(64, block));
  const Stretch stretch = stretch_of(heard.sound, heard.floor, comb, heard.per_order,
                                     track.clear ? kAfterTrack : options.speed_band);
  // Without a track, lines that stand by accident must not make a speed.
  constexpr std::size_t kEnoughOfComb = 3;
  constexpr std::size_t kEnoughAlone = 5;
  double factor = 1;
  if (stretch.standing >= (track.clear ? kEnoughOfComb : kEnoughAlone) &&
      (track.clear || stretch.standing >= stretch.elsewhere + 2)) {
    factor = stretch.factor;
    report.speed.shaft_lines = std::max(report.speed.shaft_lines, stretch.standing);
  }
  heard.per_order *= factor;
  noise::find_floors(heard.bands, heard.per_order);

  const auto [low, high] = [&] {
    double lowest = 1e30;
    double highest = 0;
    const auto steps = static_cast<std::size_t>(std::ceil(report.seconds * 10));
    for (std::size_t i = 0; i <= steps; ++i) {  // both ends, and ten times a second
      const double t = report.seconds * static_cast<double>(i) / static_cast<double>(steps);
      lowest = std::min(lowest, used.rps(t));
      highest = std::max(highest, used.rps(t));
    }
    return std::pair(lowest * 60 * factor, highest * 60 * factor);
  }();
  report.speed.lowest_rpm = low;
  report.speed.highest_rpm = high;
  report.speed.used_rpm = turns / report.seconds * 60 * factor;
  if (given) {
    const noise::SpeedCurve told(speed.points, report.seconds);
    report.speed.given_rpm = told.turns(report.seconds) / report.seconds * 60;
  }
  report.speed.uncertainty = track.clear ? track.uncertainty : 0;
  if (!given && !track.alternative.empty()) {
    const noise::SpeedCurve other(track.alternative, report.seconds);
    report.speed.alternatives_rpm = {other.turns(report.seconds) / report.seconds * 60};
  }
  constexpr std::size_t kTrackPoints = 240;
  for (std::size_t i = 0; i < kTrackPoints; ++i) {
    const double t = report.seconds * static_cast<double>(i) / (kTrackPoints - 1);
    report.speed.track.push_back({t, used.rps(t) * 60 * factor});
  }

  // Bearings by their envelopes.
  std::vector<const Bearing*> bearings;
  for (const auto* list : {&machine.rotor_bearings, &machine.gear_bearings}) {
    for (const Bearing& b : *list) {
      bearings.push_back(&b);
    }
  }
  const std::size_t envelope_lines = analyser.envelope_lines();
  Mask mask(envelope_lines);
  noise::leave_out_shaft(mask, 1, OrderAnalyser::kHighestEnvelope, heard.per_order);
  leave_out_other_shafts(heard, mask, OrderAnalyser::kHighestEnvelope);
  leave_out_beats(heard, mask);
  const double shaft_hz = report.speed.used_rpm / 60;
  const double changes = (high - low) / report.speed.used_rpm;
  constexpr double kSteady = 0.01;
  if (changes < kSteady) {
    Spectrum in_hz = heard.sound;
    in_hz.spacing = shaft_hz / heard.per_order;
    if (const auto mains = noise::find_mains(in_hz, shaft_hz)) {
      noise::leave_out_mains(mask, *mains, in_hz.spacing);
      report.limits.push_back(
          fmt::format("Mains hum at {:.0f} Hz and its multiples is left out.", *mains));
    }
  }
  // A speedometer's error comes on top of the slip where no line bears the speed out.
  NoiseOptions widened = options;
  if (report.speed.shaft_lines == 0) {
    constexpr double kSpeedometer = 0.035;
    widened.slip += kSpeedometer;
    report.limits.push_back(fmt::format(
        "Because no line confirms the speed, orders may be off by up to {:.0f} %. Parts with "
        "orders that close cannot be separated, and only the clearest is named.",
        widened.slip * 100));
  }
  std::vector<noise::Comb> of_wheels = wheel_combs(heard, mask, options);
  noise::BearingSearch search =
      noise::search_bearings(heard.bands, heard.per_order, OrderAnalyser::kHighestEnvelope,
                             std::move(mask), bearings, widened, widened.slip - options.slip);
  for (Attribution& a : search.named) {
    for (std::size_t b = 0; b < heard.bands.size(); ++b) {
      if (heard.bands[b].low == a.band_low_hz && heard.bands[b].high == a.band_high_hz) {
        const auto line = static_cast<std::size_t>(std::lround(a.found_order * heard.per_order));
        a.share = heard.share(b, line, heard.bands[b].floor[line]);
      }
    }
  }
  // Then by steady tones at their multiples; the strongest alone, since they share lines.
  std::ranges::move(of_wheels, std::back_inserter(search.combs));
  const std::vector<RaceTones> races = race_tones(heard, bearings, widened, search.combs);
  std::vector<Attribution> named = std::move(search.named);
  const bool cages_alone =
      std::ranges::all_of(named, [](const Attribution& a) { return a.kind == NoiseKind::cage; });
  if (cages_alone && !races.empty()) {
    // Elements that run over flutes sound with the cage's turn too.
    std::move(named.begin(), named.end(), std::back_inserter(search.considered));
    named.assign(1, races.front().found);
    std::erase_if(search.considered, [&](const Attribution& a) {
      return static_cast<const PartKind&>(a) == races.front().found;
    });
  }
  // With orders that loose, what else fits is more likely a sideband than a second defect.
  if (report.speed.shaft_lines == 0 && named.size() > 1) {
    std::move(named.begin() + 1, named.end(), std::back_inserter(search.considered));
    named.resize(1);
  }
  noise::find_shared(named, bearings, widened, 1 / heard.per_order);
  if (cages_alone && !races.empty()) {
    // Tones are many, so those of one race may fit another's order nearly as well.
    for (const RaceTones& r : races) {
      std::vector<PartKind>& shared = named.front().shared_with;
      if (r.found.standing + 1 >= named.front().standing && !(r.found == named.front()) &&
          std::ranges::find(shared, static_cast<const PartKind&>(r.found)) == shared.end()) {
        shared.push_back(r.found);
      }
    }
  }
  constexpr double kMoves = 0.03;  // a line that keeps its rate is spread over several then
  if (changes < kMoves && !named.empty()) {
    for (Attribution& a : named) {
      if (!turns_with_shaft(heard, a)) {
        a.shared_with.push_back({"", NoiseKind::fixed_rate});
      }
    }
    if (std::ranges::any_of(named, [](const Attribution& a) {
          return std::ranges::find(a.shared_with, NoiseKind::fixed_rate, &PartKind::kind) !=
                 a.shared_with.end();
        })) {
      report.limits.emplace_back(
          "At a speed that is held, a pump, a fan or anything else at a fixed rate can make such "
          "lines too. Record again at another speed, or while the speed changes: the lines of a "
          "bearing follow the speed.");
    }
  }
  if (!named.empty()) {
    report.pattern = pattern_of(named.front(), races, heard.bands, heard.per_order);
  }
  if (std::string said = noise::beside_cage(named); !said.empty()) {
    report.limits.push_back(std::move(said));
  }
  report.considered = std::move(search.considered);
  for (Attribution& a : named_combs(search.combs, heard, widened.slip - options.slip, options)) {
    named.push_back(std::move(a));
  }
  TonesFound tones_found = named_tones(
      heard, std::min(OrderAnalyser::kHighestSound, recording.rate / 2 / shaft_hz), options);
  for (Attribution& a : tones_found.named) {
    if (std::ranges::none_of(named, [&](const Attribution& n) { return n == a; })) {
      named.push_back(std::move(a));
    }
  }
  report.decoys = std::max(search.decoys, tones_found.decoys);
  if (!loads.empty()) {
    report.loads = compare_loads(heard, named);
  }

  const std::vector<noise::Known> known = known_to_machine(heard, named);
  constexpr std::size_t kMostLines = 20;
  report.order_spectrum = noise::curve(heard.sound, heard.floor, heard.per_order);
  report.lines = noise::strongest(heard.sound, heard.floor, heard.per_order, shaft_hz, kMostLines,
                                  known, [&](std::size_t line) { return heard.share(line); });
  if (!heard.bands.empty()) {
    const std::size_t b = noise::band_to_show(heard.bands, named);
    const std::vector<double>& floor = heard.bands[b].floor;
    report.envelope_spectrum = noise::curve(heard.bands[b].spectrum, floor, heard.per_order);
    report.envelope_low_hz = heard.bands[b].low;
    report.envelope_high_hz = heard.bands[b].high;
    const std::vector<noise::Known> in_envelope =
        noise::known_orders(named, OrderAnalyser::kHighestEnvelope, heard.per_order);
    for (NoiseLine& line : noise::strongest(
             heard.bands[b].spectrum, floor, heard.per_order, shaft_hz, kMostLines, in_envelope,
             [&](std::size_t l) { return heard.share(b, l, floor[l]); })) {
      line.in_envelope = true;
      report.lines.push_back(std::move(line));
    }
  }
  report.map = map_of(analyser, heard.per_order);
  report.named = std::move(named);
  if (!report.speed.alternatives_rpm.empty()) {
    report.limits.push_back(
        fmt::format("The lines fit a mean of {:.0f} rpm and of {:.0f} rpm about as well, so "
                    "nothing is named. Give the speed.",
                    report.speed.used_rpm, report.speed.alternatives_rpm.front()));
    report.name_nothing();
  } else if (report.decoys > noise::kMostDecoys) {
    // They may be a rhythm that is known.
    std::vector<Attribution> rhythms;
    std::ranges::copy_if(report.named, std::back_inserter(rhythms), is_rhythm);
    std::erase_if(report.named, is_rhythm);
    report.name_nothing();
    report.named = std::move(rhythms);
    report.left_open = report.named.empty() ? LeftOpen::lines_everywhere : LeftOpen::no;
  }
  result.value = std::move(report);
  return result;
}

}  // namespace dryshaft

#include "support/drive_noise.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <random>
#include <span>

namespace dryshaft::synthetic {
namespace {

constexpr double kTurn = 2 * std::numbers::pi;
constexpr double kReferenceSpeed = 60;  // km/h
constexpr std::size_t kBlock = 64;      // samples over which amplitudes go straight

// ------------------------------------------------------------------- arithmetic

// cos(2 pi turns), error below 1e-11; |turns| below 1e9. Without branches or calls.
inline double cos_turns(double turns) {
  constexpr double kRound = 6755399441055744.0;  // 1.5 * 2^52: adding it rounds to an integer
  const double part = turns - ((turns + kRound) - kRound);
  const double x = kTurn * (0.25 - std::abs(part));  // the sine of this, from -pi/2 to pi/2
  const double y = x * x;
  return x * (1 + y * (-1.0 / 6 +
                       y * (1.0 / 120 +
                            y * (-1.0 / 5040 +
                                 y * (1.0 / 362880 + y * (-1.0 / 39916800 +
                                                          y * (1.0 / 6227020800.0 +
                                                               y * (-1.0 / 1307674368000.0))))))));
}
inline double sin_turns(double turns) { return cos_turns(turns - 0.25); }

// Natural logarithm of a positive number, to rounding: 2 artanh((m-1)/(m+1)) of the mantissa.
double natural_log(double x) {
  int exponent = 0;
  double m = std::frexp(x, &exponent);
  if (m < std::numbers::sqrt2 / 2) {
    m *= 2;
    --exponent;
  }
  const double s = (m - 1) / (m + 1);
  const double q = s * s;
  double sum = 0;
  for (int k = 21; k >= 1; k -= 2) {
    sum = sum * q + 1.0 / k;
  }
  return exponent * std::numbers::ln2 + 2 * s * sum;
}

double amplitude_of(double db) { return std::pow(10, db / 20); }

// Streams of draws: what they are for is part of their seed.
enum class Stream : std::uint64_t {
  motion,
  tones,
  path,
  road,
  wind,
  microphone,
  mains,
  faults,
  knocks,
  ambience
};

class Draws {
 public:
  // SplitMix64's last steps (Steele, Lea, Flood 2014; constants from memory) set streams apart.
  Draws(std::uint64_t seed, Stream stream, std::uint64_t which = 0) {
    std::uint64_t z = seed + 0x9E3779B97F4A7C15U * (1 + static_cast<std::uint64_t>(stream)) +
                      0xD1B54A32D192ED03U * which;
    z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27U)) * 0x94D049BB133111EBU;
    engine_.seed(z ^ (z >> 31U));
  }
  // At least 0, less than 1.
  double uniform() { return static_cast<double>(engine_() >> 11U) * 0x1p-53; }
  double between(double low, double high) { return low + (high - low) * uniform(); }
  // Gaussian with mean 0 and variance 1 (Box and Muller 1958).
  double normal() {
    if (has_spare_) {
      has_spare_ = false;
      return spare_;
    }
    const double radius = std::sqrt(-2 * natural_log(1 - uniform()));
    const double angle = uniform();
    spare_ = radius * sin_turns(angle);
    has_spare_ = true;
    return radius * cos_turns(angle);
  }

 private:
  std::mt19937_64 engine_;
  double spare_ = 0;
  bool has_spare_ = false;
};

// ---------------------------------------------------------------- common ground

// Speed and load over the recording, sample by sample and at the edges of blocks.
struct Course {
  double rate = 0;
  std::size_t samples = 0;
  std::vector<double> turns;  // of the rotor
  std::vector<double> field;  // turns of the motor's field times pole pairs
  std::vector<double> hz;     // of the rotor, at each edge
  std::vector<double> km_h;   // at each edge
  std::vector<double> mesh;   // gains by load, at each edge
  std::vector<double> motor;
  std::vector<double> bearing;

  [[nodiscard]] std::size_t blocks() const { return (samples + kBlock - 1) / kBlock; }
};

Load load_at(const std::vector<LoadMark>& marks, double seconds) {
  const auto found = std::ranges::find_if(
      marks, [&](const LoadMark& m) { return seconds >= m.from_s && seconds < m.to_s; });
  return found == marks.end() ? Load::steady : found->load;
}

Course course_of(const DriveNoise& what, const Motion& motion) {
  constexpr double kSettle = 0.15;  // s: a foot moves a pedal
  Course c;
  c.rate = what.rate;
  c.samples = static_cast<std::size_t>(std::llround(what.seconds * what.rate));
  const double step = static_cast<double>(kBlock) / what.rate;
  const double follow = 1 - std::exp(-step / kSettle);
  const auto at = [](const std::array<double, kLoadCount>& gains, Load load) {
    return gains[static_cast<std::size_t>(load)];
  };
  const LoadGains& g = what.gains;
  const Load first = load_at(what.drive.loads, 0);
  std::array<double, 4> now = {at(g.mesh, first), at(g.electrical, first), at(g.bearing, first),
                               at(g.field_slip, first)};
  std::vector<double> slip;
  for (std::vector<double>* edges : {&c.hz, &c.km_h, &c.mesh, &c.motor, &c.bearing, &slip}) {
    edges->reserve(c.blocks() + 1);
  }
  for (std::size_t i = 0; i <= c.blocks(); ++i) {
    const double t = static_cast<double>(i) * step;
    const Load load = load_at(what.drive.loads, t);
    const std::array<double, 4> next = {at(g.mesh, load), at(g.electrical, load),
                                        at(g.bearing, load), at(g.field_slip, load)};
    for (std::size_t k = 0; k < now.size(); ++k) {
      now[k] += follow * (next[k] - now[k]);
    }
    c.km_h.push_back(motion.km_per_h(t));
    c.hz.push_back(motion.rotor_hz(t));
    c.mesh.push_back(now[0]);
    c.motor.push_back(now[1]);
    c.bearing.push_back(now[2]);
    slip.push_back(what.machine.rotor_bars > 0 ? now[3] : 0);
  }
  c.turns.resize(c.samples);
  c.field.resize(c.samples);
  double ahead = 0;  // turns that the field has gained on the rotor
  for (std::size_t i = 0; i < c.samples; ++i) {
    c.turns[i] = motion.rotor_turns(static_cast<double>(i) / c.rate);
    if (i > 0) {
      ahead += slip[i / kBlock] * (c.turns[i] - c.turns[i - 1]);
    }
    c.field[i] = what.machine.pole_pairs * (c.turns[i] + ahead);
  }
  return c;
}

// The way from the unit to the microphone: ripples over the logarithm of frequency.
class Path {
 public:
  explicit Path(std::uint64_t seed) {
    Draws draws(seed, Stream::path);
    for (std::size_t i = 0; i < ripples_.size(); ++i) {
      // About one, two and five ripples a decade.
      ripples_[i] = {0.5 * std::exp2(static_cast<double>(i)) * draws.between(0.8, 1.25),
                     draws.uniform()};
    }
  }
  [[nodiscard]] double gain(double hz) const {
    const double place = natural_log(std::max(hz, 1.0));
    double gain = 1;
    for (const auto& [rate, phase] : ripples_) {
      gain += 0.25 * cos_turns(rate * place + phase);
    }
    return gain;
  }

 private:
  std::array<std::pair<double, double>, 3> ripples_{};
};

// 1 up to 0.40 of the sampling rate, 0 from 0.48 on, as a recorder's filter does it.
double below_half(double hz, double rate) {
  const double x = std::clamp((0.48 - hz / rate) / 0.08, 0.0, 1.0);
  return x * x * (3 - 2 * x);
}
// What a small microphone makes of low tones.
double above_rumble(double hz) {
  constexpr double kLow = 15;
  return hz * hz / (hz * hz + kLow * kLow);
}

// Goes straight from edge to edge.
class Ramp {
 public:
  Ramp(double from, double to) : at_(from), step_((to - from) / kBlock) {}
  [[nodiscard]] double operator[](std::size_t i) const {
    return at_ + step_ * static_cast<double>(i);
  }

 private:
  double at_;
  double step_;
};

template <typename Each>
void by_blocks(const Course& c, const Each& each) {
  for (std::size_t b = 0; b < c.blocks(); ++b) {
    each(b, b * kBlock, std::min(kBlock, c.samples - b * kBlock));
  }
}

// ------------------------------------------------------------------------ tones

// cos(2 pi (order * base + phase)) with an amplitude at each edge of a block, times
// 1 + sum of depth * cos(2 pi (order * base + phase)) of its modulations.
struct Modulation {
  const std::vector<double>* base = nullptr;
  double order = 0;
  double depth = 0;
  double phase = 0;
};
struct Tone {
  const std::vector<double>* base = nullptr;
  double order = 0;
  double phase = 0;
  std::vector<Modulation> by;
};

template <typename Amplitude>
void add_tone(const Course& c, const Tone& tone, const Amplitude& amplitude,
              std::vector<double>& out) {
  std::array<double, kBlock> depth{};
  by_blocks(c, [&](std::size_t block, std::size_t from, std::size_t count) {
    const Ramp ramp(amplitude(block), amplitude(block + 1));
    depth.fill(1);
    for (const Modulation& m : tone.by) {
      const double* base = m.base->data() + from;
      for (std::size_t i = 0; i < count; ++i) {
        depth[i] += m.depth * cos_turns(m.order * base[i] + m.phase);
      }
    }
    const double* base = tone.base->data() + from;
    double* to = out.data() + from;
    for (std::size_t i = 0; i < count; ++i) {
      to[i] += ramp[i] * depth[i] * cos_turns(tone.order * base[i] + tone.phase);
    }
  });
}

// Adds tones of one part: its level, its law of speed, its gain by load.
class Chorus {
 public:
  Chorus(const DriveNoise& what, const Course& course, const Path& path, std::vector<double>& out)
      : course_(course), path_(path), out_(out), draws_(what.seed, Stream::tones) {}

  // `power`: of the amplitude over the speed. `share`: dB of this tone.
  void sing(double db, double power, const std::vector<double>* load, Tone tone) {
    tone.phase = draws_.uniform();
    for (Modulation& m : tone.by) {
      m.phase = draws_.uniform();
    }
    const double level = std::numbers::sqrt2 * amplitude_of(db + draws_.between(-3, 3));
    if (db <= kSilent) {
      return;
    }
    const double per_turn = tone.base == &course_.field
                                ? course_.field.back() / std::max(course_.turns.back(), 1e-9)
                                : 1;
    add_tone(
        course_, tone,
        [&](std::size_t edge) {
          const double hz = tone.order * per_turn * course_.hz[edge];
          return level * std::pow(course_.km_h[edge] / kReferenceSpeed, power) *
                 (load != nullptr ? (*load)[edge] : 1) * path_.gain(hz) * above_rumble(hz) *
                 below_half(hz, course_.rate);
        },
        out_);
  }

 private:
  const Course& course_;
  const Path& path_;
  std::vector<double>& out_;
  Draws draws_;
};

void add_tones(const DriveNoise& what, const Course& c, const Path& path,
               std::vector<double>& out) {
  Chorus chorus(what, c, path, out);
  const Machine& m = what.machine;
  const Levels& l = what.levels;
  const std::vector<double>* turns = &c.turns;
  constexpr double kHarmonic = -6;  // dB from one harmonic to the next
  for (int k = 1; k <= 3; ++k) {    // unbalance grows with the square of the speed
    chorus.sing(l.rotor + kHarmonic * (k - 1), 2, nullptr, {turns, double(k), 0, {}});
  }
  for (int k = 1; k <= 3; ++k) {  // tyres that are not quite round
    chorus.sing(l.wheel + kHarmonic * (k - 1), 1, nullptr, {turns, k / m.ratio(), 0, {}});
  }
  double shaft = 1;
  for (const GearStage& stage : m.stages) {
    const double next = shaft * stage.driving / stage.driven;
    for (int k = 1; k <= 3; ++k) {
      chorus.sing(
          l.mesh + kHarmonic * (k - 1), 1, &c.mesh,
          {turns, k * stage.driving * shaft, 0, {{turns, shaft, 0.3, 0}, {turns, next, 0.2, 0}}});
    }
    shaft = next;
  }
  const std::vector<double>* field = &c.field;
  chorus.sing(l.electrical, 0, &c.motor, {field, 2, 0, {}});
  chorus.sing(l.electrical - 4, 0, &c.motor, {field, 6, 0, {}});
  const int slots = m.rotor_bars > 0 ? m.rotor_bars : m.stator_slots;
  if (slots > 0) {
    chorus.sing(l.electrical - 2, 0, &c.motor, {turns, double(slots), 0, {{field, 2, 0.8, 0}}});
  }
}

void add_mains(const DriveNoise& what, const Course& c, std::vector<double>& out) {
  if (what.levels.mains <= kSilent) {
    return;
  }
  Draws draws(what.seed, Stream::mains);
  constexpr double kMains = 50;
  std::vector<double> cycles(c.samples);
  for (std::size_t i = 0; i < c.samples; ++i) {
    cycles[i] = kMains * static_cast<double>(i) / c.rate;
  }
  for (int k = 1; k <= 3; ++k) {
    const double level = std::numbers::sqrt2 * amplitude_of(what.levels.mains - 8 * (k - 1));
    add_tone(
        c, {&cycles, double(k), draws.uniform(), {}}, [&](std::size_t) { return level; }, out);
  }
}

// Gaussian noise of unit power through one pole at `corner` Hz (0: white), times an amplitude.
template <typename Amplitude>
void add_noise(const Course& c, Draws draws, double corner, const Amplitude& amplitude,
               std::vector<double>& out) {
  const double a = corner > 0 ? 1 - std::exp(-kTurn * corner / c.rate) : 1;
  const double unit = std::sqrt((2 - a) / a);
  double y = draws.normal() / unit;  // as if it had always run
  by_blocks(c, [&](std::size_t block, std::size_t from, std::size_t count) {
    const Ramp ramp(unit * amplitude(block), unit * amplitude(block + 1));
    for (std::size_t i = 0; i < count; ++i) {
      y += a * (draws.normal() - y);
      out[from + i] += ramp[i] * y;
    }
  });
}

void add_road(const DriveNoise& what, const Course& c, std::vector<double>& out) {
  const auto rising = [&](double db, double power) {
    return [&c, level = amplitude_of(db), power](std::size_t edge) {
      return level * std::pow(c.km_h[edge] / kReferenceSpeed, power);
    };
  };
  // Tyres: about 30 lg v; wind: about 60 lg v (from memory).
  add_noise(c, Draws(what.seed, Stream::road), 160, rising(what.levels.road, 1.5), out);
  add_noise(c, Draws(what.seed, Stream::wind), 700, rising(what.levels.wind, 3), out);
  add_noise(c, Draws(what.seed, Stream::microphone), 0, rising(what.levels.microphone, 0), out);
}

// ----------------------------------------------------------------------- faults

// A decaying oscillation, kept as one complex number that turns and shrinks.
class Ringing {
 public:
  Ringing(const Resonance& r, double rate)
      : turns_(r.hz / rate), decay_(kTurn * r.damping * r.hz / rate), share_(r.share) {
    const double keep = std::exp(-decay_);
    re_step_ = keep * cos_turns(turns_);
    im_step_ = keep * sin_turns(turns_);
    even_ = 2 * (1 - keep);
  }
  // A blow that fell `ago` samples before the present one, 0 to 1.
  void strike(double strength, double ago) {
    const double left = strength * std::exp(-decay_ * ago);
    re_ += left * cos_turns(turns_ * ago);
    im_ += left * sin_turns(turns_ * ago);
  }
  // Pushed with the force of this sample; its answer at resonance is the force.
  double push(double force) {
    re_ += even_ * force;
    return next();
  }
  double next() {
    const double now = share_ * im_;
    const double re = re_ * re_step_ - im_ * im_step_;
    im_ = re_ * im_step_ + im_ * re_step_;
    re_ = re;
    return now;
  }

 private:
  double turns_;
  double decay_;
  double share_;
  double even_ = 0;
  double re_step_ = 0;
  double im_step_ = 0;
  double re_ = 0;
  double im_ = 0;
};

std::vector<Ringing> ringings(std::vector<Resonance> all, double rate, Draws& draws) {
  const Resonance low{draws.between(1500, 3200), draws.between(0.03, 0.06), 1};
  const Resonance high{draws.between(4000, 6800), draws.between(0.02, 0.04), 0.6};
  if (all.empty()) {
    all = {low, high};
  }
  std::vector<Ringing> out;
  for (const Resonance& r : all) {
    if (r.hz < 0.45 * rate) {
      out.emplace_back(r, rate);
    }
  }
  return out;
}

// Load on an element at an angle from the middle of the load zone (Stribeck's distribution for
// point contact: (1 - (1 - cos) / (2 e))^1.5, from memory).
double zone_load(double turns, double factor) {
  const double x = std::max(0.0, 1 - (1 - cos_turns(turns)) / (2 * factor));
  return x * std::sqrt(x);
}

double order_of_kind(const DefectOrders& orders, NoiseKind kind) {
  switch (kind) {
    case NoiseKind::outer_race:
      return orders.outer_race;
    case NoiseKind::inner_race:
      return orders.inner_race;
    case NoiseKind::element:
      return orders.element;
    case NoiseKind::cage:
      return orders.cage;
    default:
      return 0;
  }
}

// Amplitude of a fault at each edge: the forces rise with speed and load.
double force_at(const Course& c, std::size_t edge) {
  return c.bearing[edge] * c.km_h[edge] / kReferenceSpeed;
}

// Blows, one whenever `order` times `base` has grown by about 1. `strength`: of a blow, from its
// place in the base, the force there and how much it differs from others.
template <typename Strength>
void add_blows(const Course& c, const std::vector<double>& base, double order, double jitter,
               std::vector<Ringing> rings, Draws& draws, const Strength& strength,
               std::vector<double>& out) {
  constexpr double kUneven = 0.1;  // rms of the strength of blows
  constexpr double kLeastSpacing = 0.3;
  double next = draws.uniform();  // repetitions until the next blow
  double before = 0;
  by_blocks(c, [&](std::size_t block, std::size_t from, std::size_t count) {
    const Ramp force(force_at(c, block), force_at(c, block + 1));
    for (std::size_t i = 0; i < count; ++i) {
      const double now = order * base[from + i];
      while (now >= next && now > before) {
        const double blow = strength(next / order, force[i], 1 + kUneven * draws.normal());
        for (Ringing& ring : rings) {
          ring.strike(blow, std::min(1.0, (now - next) / (now - before)));
        }
        next += std::max(kLeastSpacing, 1 + jitter * draws.normal());
      }
      before = now;
      double sum = 0;
      for (Ringing& ring : rings) {
        sum += ring.next();
      }
      out[from + i] += sum;
    }
  });
}

void add_single_defect(const Fault& fault, const Course& c, Draws draws, std::vector<double>& out) {
  constexpr double kOuterBlow = 0.7;  // an element's blow on the outer race, the inner's being 1
  std::vector<Ringing> rings = ringings(fault.resonances, c.rate, draws);
  const DefectOrders orders = slipped_orders(fault.bearing, fault.slip);
  const double order = order_of_kind(orders, fault.kind);
  if (order <= 0) {
    return;
  }
  const double zone_phase = draws.uniform();
  bool other = false;
  const auto strength = [&](double turns, double force, double uneven) {
    force *= uneven;
    if (fault.kind == NoiseKind::inner_race) {
      force *= zone_load(turns + zone_phase, fault.load_zone);
    } else if (fault.kind == NoiseKind::element) {
      force *=
          zone_load(turns * orders.cage + zone_phase, fault.load_zone) * (other ? kOuterBlow : 1);
      other = !other;
    }
    return force;
  };
  add_blows(c, c.turns, order, fault.jitter, std::move(rings), draws, strength, out);
}

// What knocks in step with the car does so harder at speed; a pump does not care.
void add_knocks(const Knocks& knocks, const Course& c, Draws draws, std::vector<double>& out) {
  std::vector<Ringing> rings = ringings(knocks.resonances, c.rate, draws);
  std::vector<double> places;
  for (int i = 0; i < std::max(knocks.places, 1); ++i) {
    places.push_back(std::max(0.0, 1 + knocks.unequal * draws.normal()));
  }
  const double phase = draws.uniform();
  std::size_t place = 0;
  const bool fixed = knocks.order <= 0;
  std::vector<double> seconds;
  for (std::size_t i = 0; fixed && i < c.samples; ++i) {
    seconds.push_back(static_cast<double>(i) / c.rate);
  }
  const auto strength = [&](double at, double force, double uneven) {
    place = (place + 1) % places.size();
    const double swell = 1 + knocks.swell * cos_turns(knocks.swell_order * at + phase);
    return (fixed ? 1 : force) * uneven * places[place] * swell;
  };
  add_blows(c, fixed ? seconds : c.turns, fixed ? knocks.hz : knocks.order, knocks.jitter,
            std::move(rings), draws, strength, out);
}

// The flutes round a race: their profile over one turn of it, and that of their second harmonic.
struct Washboard {
  static constexpr std::size_t kPoints = 32768;
  std::vector<float> first;
  std::vector<float> second;

  Washboard(const Fault& fault, Draws& draws) : first(kPoints + 1), second(kPoints + 1) {
    constexpr double kUneven = 0.2;  // rms of their depth
    const auto flutes = static_cast<std::size_t>(std::max(fault.flutes, 1));
    std::vector<std::pair<double, double>> flute;  // place, in spacings, and depth
    flute.reserve(flutes + 1);
    for (std::size_t i = 0; i < flutes; ++i) {
      // Never so far off that two change places.
      const double off = std::clamp(fault.flute_jitter * draws.normal(), -0.4, 0.4);
      flute.emplace_back(static_cast<double>(i) + off, 1 + kUneven * draws.normal());
    }
    flute.emplace_back(flute[0].first + static_cast<double>(flutes), flute[0].second);
    std::size_t i = 0;
    for (std::size_t k = 0; k <= kPoints; ++k) {
      double place = static_cast<double>(k) / kPoints * static_cast<double>(flutes);
      if (place < flute.front().first) {
        place += static_cast<double>(flutes);
        i = flutes - 1;
      } else {
        if (i + 1 == flutes && place < flute[i].first) {
          i = 0;
        }
        while (i + 1 < flutes && place >= flute[i + 1].first) {
          ++i;
        }
      }
      const double along = (place - flute[i].first) / (flute[i + 1].first - flute[i].first);
      const double depth = flute[i].second + along * (flute[i + 1].second - flute[i].second);
      first[k] = static_cast<float>(depth * cos_turns(along));
      second[k] = static_cast<float>(0.4 * depth * cos_turns(2 * along));
    }
  }
  // At a part of a turn of the race, from 0 to 1.
  static double at(const std::vector<float>& profile, double part) {
    const double place = part * kPoints;
    const auto i = std::min(static_cast<std::size_t>(place), kPoints - 1);
    const double low = profile[i];
    return low + (place - static_cast<double>(i)) * (double{profile[i + 1]} - low);
  }
};

void add_washboard(const Fault& fault, const Course& c, Draws draws, std::vector<double>& out) {
  constexpr double kDirect = 0.4;  // of the force, beside what the resonances make of it
  std::vector<Ringing> rings = ringings(fault.resonances, c.rate, draws);
  const Washboard board(fault, draws);
  const bool inner = fault.kind == NoiseKind::inner_race;
  const double cage = slipped_orders(fault.bearing, fault.slip).cage;
  const double flute_order = fault.flutes * (inner ? 1 - cage : cage);
  const double zone_phase = draws.uniform();
  std::vector<double> places;
  places.reserve(static_cast<std::size_t>(std::max(fault.bearing.elements, 0)));
  for (int j = 0; j < fault.bearing.elements; ++j) {
    places.push_back((j + fault.jitter * draws.normal()) / fault.bearing.elements);
  }
  std::array<double, kBlock> sum{};
  by_blocks(c, [&](std::size_t block, std::size_t from, std::size_t count) {
    const double hz = flute_order * c.hz[block];
    const double one = below_half(hz, c.rate);
    const double two = below_half(2 * hz, c.rate);
    sum.fill(0);
    for (const double place : places) {
      for (std::size_t i = 0; i < count; ++i) {
        const double turns = c.turns[from + i];
        const double angle = cage * turns + place;
        const double on_race = inner ? turns - angle : angle;
        const double part = on_race - std::floor(on_race);
        double force = one * Washboard::at(board.first, part);
        if (two > 0) {
          force += two * Washboard::at(board.second, part);
        }
        sum[i] += zone_load(angle + zone_phase, fault.load_zone) * force;
      }
    }
    const Ramp ramp(force_at(c, block), force_at(c, block + 1));
    for (std::size_t i = 0; i < count; ++i) {
      const double force = ramp[i] * sum[i];
      double heard = kDirect * force;
      for (Ringing& ring : rings) {
        heard += ring.push(force);
      }
      out[from + i] += heard;
    }
  });
}

// --------------------------------------------------------------------- ambience

// Noise of unit power through one resonance, broad or narrow.
class Formant {
 public:
  Formant(double hz, double width, double rate) : ringing_({hz, width / (2 * hz), 1}, rate) {}
  double push(double x) { return ringing_.push(x); }

 private:
  Ringing ringing_;
};

// Cycles done by each sample at a rate that wanders by `wander`, rms.
std::vector<double> cycles_of(const Course& c, double hz, double wander, Draws& draws) {
  constexpr double kMemory = 0.3;  // s
  const double keep = std::exp(-1 / (kMemory * c.rate));
  const double step = wander * std::sqrt(1 - keep * keep);
  std::vector<double> cycles(c.samples);
  double off = wander * draws.normal();
  double now = draws.uniform();
  for (double& at : cycles) {
    at = now;
    off = keep * off + step * draws.normal();
    now += hz * (1 + off) / c.rate;
  }
  return cycles;
}

void add_tones_about(const Course& c, Draws& draws, std::vector<double>& out) {
  const int count = 3 + static_cast<int>(draws.between(0, 4));
  for (int i = 0; i < count; ++i) {
    const double hz = 200 * std::exp2(draws.between(0, 5));
    const double level = amplitude_of(draws.between(-12, 0));
    const bool pair = draws.uniform() < 0.5;
    const std::vector<double> cycles = cycles_of(c, hz, 1e-5, draws);
    const double beside = 1 + draws.between(20, 500) / hz;
    for (const double order : pair ? std::vector<double>{1, beside} : std::vector<double>{1}) {
      add_tone(
          c, {&cycles, order, draws.uniform(), {}}, [&](std::size_t) { return level; }, out);
    }
  }
}

void add_hum(const Course& c, Draws& draws, std::vector<double>& out) {
  constexpr double kMains = 50;
  const std::vector<double> cycles = cycles_of(c, kMains, 1e-4, draws);
  for (int k = 1; k <= 60; ++k) {
    const double level = amplitude_of(-8 * std::log2(k) / 2 + draws.between(-10, 0));
    add_tone(
        c, {&cycles, double(k), draws.uniform(), {}}, [&](std::size_t) { return level; }, out);
  }
}

void add_fan(const Course& c, Draws& draws, std::vector<double>& out) {
  const double blades = draws.between(40, 400);
  const std::vector<double> cycles = cycles_of(c, blades, draws.between(1e-4, 5e-3), draws);
  const double depth = draws.between(0.3, 0.9);
  const double sharp = draws.between(0.5, 3);
  Formant rush(draws.between(800, 4000), draws.between(500, 2500), c.rate);
  for (std::size_t i = 0; i < c.samples; ++i) {
    const double swell = std::pow(0.5 + 0.5 * cos_turns(cycles[i]), sharp);
    out[i] += (1 - depth + depth * swell) * rush.push(draws.normal());
  }
}

void add_tread(const DriveNoise& what, const Course& c, Draws& draws, std::vector<double>& out) {
  const auto blocks = static_cast<std::size_t>(draws.between(50, 90));
  std::vector<double> ends;
  std::vector<double> strength;
  double sum = 0;
  for (std::size_t i = 0; i < blocks; ++i) {
    sum += draws.uniform() < 0.4 ? 1.25 : draws.uniform() < 0.5 ? 1.0 : 0.8;
    ends.push_back(sum);
    strength.push_back(1 + 0.15 * draws.normal());
  }
  const double ratio = what.machine.ratio();
  const double depth = draws.between(0.05, 0.4);
  const double phase = draws.uniform();
  Formant roar(draws.between(700, 1100), draws.between(300, 600), c.rate);
  Formant slap(draws.between(900, 2500), draws.between(300, 900), c.rate);
  double before = 0;
  std::size_t block = 0;
  for (std::size_t i = 0; i < c.samples; ++i) {
    const double wheel = c.turns[i] / ratio;
    const double part = wheel - std::floor(wheel);
    if (part < before) {
      block = 0;
    }
    before = part;
    double hit = 0;
    if (block < blocks && part * sum >= ends[block]) {
      hit = strength[block++] * 6;
    }
    const double swell = 1 + depth * cos_turns(wheel + phase);
    out[i] += swell * roar.push(draws.normal()) + slap.push(hit + 0.3 * draws.normal());
  }
}

void add_voice(const Course& c, Draws& draws, std::vector<double>& out) {
  const double pitch = draws.between(90, 230);
  const std::vector<double> cycles = cycles_of(c, pitch, draws.between(0.02, 0.1), draws);
  const std::vector<double> syllables = cycles_of(c, draws.between(3, 6), 0.3, draws);
  std::vector<Formant> formants;
  double voiced = 0;
  double last_syllable = -1;
  for (std::size_t i = 1; i < c.samples; ++i) {
    if (std::floor(syllables[i]) > last_syllable) {
      last_syllable = std::floor(syllables[i]);
      voiced = draws.uniform() < 0.75 ? 1 : 0;
      formants.clear();
      formants.emplace_back(draws.between(300, 800), 80, c.rate);
      formants.emplace_back(draws.between(900, 2300), 120, c.rate);
      formants.emplace_back(draws.between(2400, 3200), 180, c.rate);
    }
    const double swell = 0.5 - 0.5 * cos_turns(syllables[i]);
    const bool pulse = std::floor(cycles[i]) > std::floor(cycles[i - 1]);
    const double force =
        swell * (voiced * (pulse ? 8 : 0) + (0.1 + 0.5 * (1 - voiced)) * draws.normal());
    for (Formant& formant : formants) {
      out[i] += formant.push(force);
    }
  }
}

void add_gusts(const Course& c, Draws& draws, std::vector<double>& out) {
  const double memory = draws.between(0.02, 0.4);  // s
  const double keep = std::exp(-1 / (memory * c.rate));
  const double depth = draws.between(0.5, 1.2);
  Formant hiss(draws.between(500, 3000), draws.between(1000, 3000), c.rate);
  double gust = 0;
  for (double& to : out) {
    gust = keep * gust + std::sqrt(1 - keep * keep) * draws.normal();
    to += std::exp(depth * gust) * hiss.push(draws.normal());
  }
}

void add_gravel(const Course& c, Draws& draws, std::vector<double>& out) {
  std::vector<Ringing> rings = ringings({}, c.rate, draws);
  const double rate = draws.between(3, 200);
  for (double& to : out) {
    if (draws.uniform() < rate / c.rate) {
      const double blow = std::exp(0.8 * draws.normal());
      for (Ringing& ring : rings) {
        ring.strike(blow, draws.uniform());
      }
    }
    for (Ringing& ring : rings) {
      to += ring.next();
    }
  }
}

void add_music(const Course& c, Draws& draws, std::vector<double>& out) {
  const double beat = draws.between(1.2, 2.6);  // a second
  const double root = draws.between(100, 220);
  std::vector<Ringing> drum = ringings({}, c.rate, draws);
  std::vector<double> cycles(c.samples);
  std::vector<double> swell(c.blocks() + 1, 0);
  constexpr std::array kSteps = {0, 3, 4, 5, 7, 8, 9, 10, 12};
  for (int voice = 0; voice < 4; ++voice) {
    double now = draws.uniform();
    double hz = root;
    long bar = -1;
    double since = 0;
    for (std::size_t i = 0; i < c.samples; ++i) {
      const double seconds = static_cast<double>(i) / c.rate;
      const long here = std::lround(std::floor(seconds * beat / (voice == 0 ? 4 : 1)));
      if (here != bar) {
        bar = here;
        since = seconds;
        const auto step = static_cast<std::size_t>(draws.between(0, kSteps.size()));
        hz = root * std::exp2(kSteps[step] / 12.0 + (voice > 1 ? 1 : 0));
      }
      cycles[i] = now;
      now += hz / c.rate;
      if (i % kBlock == 0) {
        swell[i / kBlock] = std::min(1.0, (seconds - since) * 50) * std::exp(since - seconds);
      }
    }
    for (int k = 1; k <= 8; ++k) {
      add_tone(
          c, {&cycles, double(k), draws.uniform(), {}},
          [&](std::size_t edge) { return 0.5 * swell[edge] / k; }, out);
    }
  }
  double before = 0;
  for (std::size_t i = 0; i < c.samples; ++i) {
    const double at = std::floor(static_cast<double>(i) / c.rate * beat * 2);
    if (at > before) {
      for (Ringing& ring : drum) {
        ring.strike(3, 0.5);
      }
    }
    before = at;
    for (Ringing& ring : drum) {
      out[i] += ring.next();
    }
  }
}

void add_whine(const DriveNoise& what, const Course& c, Draws& draws, std::vector<double>& out) {
  const Machine& m = what.machine;
  double shaft = 1;
  for (const GearStage& stage : m.stages) {
    const double next = shaft * stage.driving / stage.driven;
    for (int k = 1; k <= 4; ++k) {
      const double level = amplitude_of(draws.between(-15, 0));
      add_tone(
          c,
          {&c.turns,
           k * stage.driving * shaft,
           draws.uniform(),
           {{&c.turns, shaft, draws.between(0.1, 0.9), draws.uniform()},
            {&c.turns, next, draws.between(0.1, 0.9), draws.uniform()},
            {&c.turns, 1 / m.ratio(), draws.between(0, 0.5), draws.uniform()}}},
          [&](std::size_t edge) {
            return level * c.mesh[edge] *
                   below_half(k * stage.driving * shaft * c.hz[edge], c.rate);
          },
          out);
    }
    shaft = next;
  }
}

void add_ambience(const DriveNoise& what, const Course& c, std::vector<double>& out) {
  Draws draws(what.seed, Stream::ambience);
  switch (what.ambience) {
    case Ambience::nothing:
      return;
    case Ambience::tones:
      return add_tones_about(c, draws, out);
    case Ambience::hum:
      return add_hum(c, draws, out);
    case Ambience::fan:
      return add_fan(c, draws, out);
    case Ambience::tread:
      return add_tread(what, c, draws, out);
    case Ambience::voice:
      return add_voice(c, draws, out);
    case Ambience::gusts:
      return add_gusts(c, draws, out);
    case Ambience::gravel:
      return add_gravel(c, draws, out);
    case Ambience::music:
      return add_music(c, draws, out);
    case Ambience::whine:
      return add_whine(what, c, draws, out);
  }
}

double mean_square(std::span<const double> x) {
  double sum = 0;
  for (const double v : x) {
    sum += v * v;
  }
  return x.empty() ? 0 : sum / static_cast<double>(x.size());
}

// --------------------------------------------------------------------- recorder

void capture(const std::vector<double>& sound, const Microphone& mic, DriveRecording& out) {
  constexpr double kSecond = 0.794;  // 2 dB less
  constexpr double kSteps = 32768;
  const double rms = std::sqrt(mean_square(sound));
  const double gain = rms > 0 ? amplitude_of(mic.level_db) / rms : 0;
  out.gain = gain;
  out.channels = mic.channels;
  out.samples.resize(sound.size() * mic.channels);
  std::size_t clipped = 0;
  for (std::size_t ch = 0; ch < mic.channels; ++ch) {
    if (mic.dead_channel == ch) {
      continue;
    }
    const double own = gain * (ch == 0 ? 1 : kSecond);
    for (std::size_t i = 0; i < sound.size(); ++i) {
      const double heard = own * sound[i];
      clipped += std::abs(heard) > mic.clip_at ? 1 : 0;
      double kept = std::clamp(heard, -mic.clip_at, mic.clip_at);
      if (mic.sixteen_bits) {
        kept = std::clamp(std::floor(kept * kSteps + 0.5), -kSteps, kSteps - 1) / kSteps;
      }
      out.samples[i * mic.channels + ch] = static_cast<float>(kept);
    }
  }
  out.clipped = out.samples.empty()
                    ? 0
                    : static_cast<double>(clipped) / static_cast<double>(out.samples.size());
}

}  // namespace

// ----------------------------------------------------------------------- motion

Motion::Motion(const Drive& drive, double circumference_m, double ratio, std::uint64_t seed)
    : hz_per_km_h_(ratio / (3.6 * circumference_m)) {
  Draws draws(seed, Stream::motion);
  for (std::size_t i = 0; i < waves_.size(); ++i) {
    const double share =
        drive.wander * std::sqrt(2 / static_cast<double>(waves_.size())) * draws.between(0.7, 1.3);
    waves_[i] = {share, draws.between(0.04, 0.35), draws.uniform()};
  }
  std::vector<RoadSpeed> points = drive.speed;
  if (points.empty()) {
    points.push_back({0, 0});
  }
  pieces_.reserve(points.size() + 1);
  pieces_.push_back({0, points.front().km_per_h, 0, 0});
  const auto add = [&](double from, double speed, double slope) {
    const double done = integral(pieces_.back(), from);
    pieces_.push_back({from, speed, slope, done});
  };
  for (std::size_t i = 0; i + 1 < points.size(); ++i) {
    const double step = points[i + 1].seconds - points[i].seconds;
    const double rise = points[i + 1].km_per_h - points[i].km_per_h;
    add(points[i].seconds, points[i].km_per_h, step > 0 ? rise / step : 0);
  }
  add(points.back().seconds, points.back().km_per_h, 0);
}

const Motion::Piece& Motion::piece(double seconds) const {
  auto after = std::ranges::upper_bound(pieces_, seconds, {}, &Piece::from);
  return after == pieces_.begin() ? *after : *(after - 1);
}

// Of (speed + slope (t - from)) (1 + sum of share sin(2 pi (hz t + phase))), by parts.
double Motion::integral(const Piece& p, double seconds) const {
  const double t = seconds - p.from;
  double sum = p.done + t * (p.speed + 0.5 * p.slope * t);
  for (const Wave& w : waves_) {
    if (w.share > 0) {
      const double turn = kTurn * w.hz;
      const auto part = [&](double at, double speed) {
        const double angle = w.hz * at + w.phase;
        return -speed * cos_turns(angle) / turn + p.slope * sin_turns(angle) / (turn * turn);
      };
      sum += w.share * (part(seconds, p.speed + p.slope * t) - part(p.from, p.speed));
    }
  }
  return sum;
}

double Motion::km_per_h(double seconds) const {
  const Piece& p = piece(seconds);
  double wander = 1;
  for (const Wave& w : waves_) {
    wander += w.share * sin_turns(w.hz * seconds + w.phase);
  }
  return (p.speed + p.slope * (seconds - p.from)) * wander;
}
double Motion::rotor_hz(double seconds) const { return hz_per_km_h_ * km_per_h(seconds); }
double Motion::rotor_turns(double seconds) const {
  return hz_per_km_h_ * integral(piece(seconds), seconds);
}

// -------------------------------------------------------------------- recording

DefectOrders slipped_orders(const Bearing& bearing, double slip) {
  DefectOrders o = defect_orders(bearing);
  o.cage *= 1 - slip;
  o.outer_race = bearing.elements * o.cage;
  o.inner_race = bearing.elements * (1 - o.cage);
  o.spin *= 1 - slip;
  o.element = 2 * o.spin;
  return o;
}

DriveRecording record(const DriveNoise& what) {
  Motion motion(what.drive, what.circumference_m, what.machine.ratio(), what.seed);
  const Course course = course_of(what, motion);
  DriveRecording out{what.rate, 1, {}, std::move(motion), 0, 0, 0};
  std::vector<double> sound(course.samples);
  add_tones(what, course, Path(what.seed), sound);
  add_mains(what, course, sound);
  add_road(what, course, sound);
  std::vector<double> alone;
  const auto add = [&](double db, double to, const auto& sounds) {
    alone.assign(course.samples, 0.0);
    sounds(alone);
    const double power = mean_square(alone);
    // A car that stands has no fault to hear.
    const double gain = power > 0 ? std::sqrt(to / power) * amplitude_of(db) : 0;
    for (std::size_t k = 0; k < sound.size(); ++k) {
      sound[k] += gain * alone[k];
    }
  };
  if (what.ambience != Ambience::nothing) {
    add(what.ambience_db, mean_square(sound),
        [&](std::vector<double>& to) { add_ambience(what, course, to); });
  }
  const double background = mean_square(sound);
  out.background_rms = std::sqrt(background);
  for (std::size_t i = 0; i < what.faults.size(); ++i) {
    const Fault& fault = what.faults[i];
    add(fault.db, background, [&](std::vector<double>& to) {
      const Draws draws(what.seed, Stream::faults, i);
      if (fault.washboard) {
        add_washboard(fault, course, draws, to);
      } else {
        add_single_defect(fault, course, draws, to);
      }
    });
  }
  for (std::size_t i = 0; i < what.knocks.size(); ++i) {
    const Knocks& knocks = what.knocks[i];
    add(knocks.db, background, [&](std::vector<double>& to) {
      add_knocks(knocks, course, Draws(what.seed, Stream::knocks, i), to);
    });
  }
  capture(sound, what.microphone, out);
  return out;
}

Recording channel(const DriveRecording& recording, std::size_t which) {
  const auto next = std::make_shared<std::size_t>(0);
  const std::size_t frames = recording.samples.size() / recording.channels;
  Recording out;
  out.rate = recording.rate;
  out.read = [&recording, next, which, frames](std::span<float> to) {
    const std::size_t count = std::min(to.size(), frames - *next);
    for (std::size_t i = 0; i < count; ++i) {
      to[i] = recording.samples[(*next + i) * recording.channels + which];
    }
    *next += count;
    return count;
  };
  out.rewind = [next] { *next = 0; };
  return out;
}

}  // namespace dryshaft::synthetic

// The process behind a unit's life, against closed forms and against small steps of the chain as
// its rules are written down.
#include "diagnose/life.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <memory>
#include <utility>
#include <vector>

#include "base/draw.hpp"
#include "base/index.hpp"
#include "diagnose/model.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using Catch::Detail::Approx;
using test::shipped;
using test::shipped_model;

const Life& life() { return shipped_model().life(); }

// Numbers that are the same in every run.
class Dice {
 public:
  explicit Dice(std::uint64_t seed) : seed_(seed) {}
  double next() {
    return std::ldexp(static_cast<double>(draw::mixed(seed_, ++count_) >> 11U), -53);
  }
  std::size_t below(std::size_t n) {
    return static_cast<std::size_t>(next() * static_cast<double>(n));
  }

 private:
  std::uint64_t seed_;
  std::uint64_t count_ = 0;
};

Levels nothing_seen() {
  Levels levels;
  levels.fill(-1);
  return levels;
}

constexpr Finding kComplete[] = {
    Finding::port_fluid,  Finding::port_residue, Finding::port_rust,
    Finding::port_debris, Finding::rotation,     Finding::isolation_fault,
    Finding::noise,       Finding::shutdown,     Finding::reduced_power};

// Dry, clean, free and quiet.
Levels dry_look() {
  Levels levels = nothing_seen();
  for (const Finding f : kComplete) {
    levels[idx(f)] = 0;
  }
  return levels;
}

// A unit's looks, each so far after the one before.
struct Look {
  double km;
  double years;
  Levels levels;
};
// All of them as earlier looks of a case.
Case case_of(const std::vector<Look>& looks, Clock at = {}) {
  Case c = empty_case();
  Course course;
  for (const Look& look : looks) {
    Leg& leg = course.legs.emplace_back();
    leg.from = at;
    at = at.later(look.km, look.years);
    leg.to = at;
    leg.seen = look.levels;
    leg.look = course.legs.size() - 1;
  }
  course.end = at;
  c.seal_km = at.seal_km;
  c.seal_years = at.seal_years;
  c.set(Situation::rotor_cooling, at.cooling);
  c.set(Situation::rotor_bearings, at.rotor);
  c.set(Situation::gear_bearings, at.gear);
  c.course = std::make_shared<const Course>(std::move(course));
  return c;
}
Belief after(const Model& model, const std::vector<Look>& looks, Clock at = {}) {
  return model.prior(case_of(looks, at)).belief;
}
// That something damaging is there: a leak, harm, or both.
double risk_of(const Belief& belief) {
  double sound = 0;
  for (const double p : belief.at[0]) {
    sound += p;
  }
  return 1 - sound;
}
double risk_after(const std::vector<Look>& looks) { return risk_of(after(shipped_model(), looks)); }
void look(Belief& belief, const Levels& levels, const Model& model = shipped_model()) {
  const Belief like = model.likelihood(levels);
  double all = 0;
  for (std::size_t core = 0; core < kCores; ++core) {
    for (std::size_t r = 0; r < kRests; ++r) {
      belief.at[core][r] *= like.at[core][r];
      all += belief.at[core][r];
    }
  }
  for (auto& row : belief.at) {
    for (double& x : row) {
      x /= all;
    }
  }
}

// ------------------------------------------------------ the chain, step by step

// What a look's finding says in one state, straight from the rules: the worst of what its
// background and its links bring about.
double chance_of(const Knowledge& k, Finding f, int level, std::size_t causes, bool seized,
                 bool failed) {
  const auto at_least = [&](int l) {
    if (l == 0) {
      return 1.0;
    }
    if (static_cast<std::size_t>(l) >= spec(f).levels.size()) {
      return 0.0;
    }
    const auto place = static_cast<std::size_t>(l);
    for (const BrokenRule& b : k.broken) {
      if (b.finding == f && (b.cause == Cause::rotor_bearing_corrosion ? seized : failed)) {
        return b.shows[place];
      }
    }
    double better = 1;
    for (const Background& b : k.backgrounds) {
      better *= b.finding == f ? 1 - b.anyway[place] : 1;
    }
    for (const Link& link : k.links) {
      better *=
          link.finding == f && (causes >> idx(link.cause) & 1U) != 0 ? 1 - link.shows[place] : 1;
    }
    return 1 - better;
  };
  return at_least(level) - at_least(level + 1);
}

// The same process in steps so short that nothing happens twice in one, each state by itself.
class Steps {
 public:
  explicit Steps(const Knowledge& k) : k_(k), p_(kSealStates * 9 * 8) {
    p_[72] = k.causes[0].base[0];  // leaks from the start
    p_[0] = 1 - p_[72];
  }

  void drive(const Clock& from, const Clock& to, double step) {
    const double km = to.seal_km - from.seal_km;
    const double years = to.seal_years - from.seal_years;
    const double working = km + k_.settings.rest_km_per_day * kDaysPerYear * years;
    const auto count = static_cast<std::size_t>(std::ceil(working / step));
    for (std::size_t i = 0; i < count; ++i) {
      const double a = static_cast<double>(i) / static_cast<double>(count);
      const double b = static_cast<double>(i + 1) / static_cast<double>(count);
      one(from.later(km * a, years * a), from.later(km * b, years * b),
          working / static_cast<double>(count));
    }
  }

  void look(const Levels& levels) {
    double all = 0;
    for (std::size_t s = 0; s < p_.size(); ++s) {
      p_[s] *= like(levels, s);
      all += p_[s];
    }
    for (double& x : p_) {
      x /= all;
    }
  }

  // Of leak, corrosion, insulation, both erosions, noise from outside.
  [[nodiscard]] std::array<double, kCauseCount> causes() const {
    std::array<double, kCauseCount> out{};
    for (std::size_t s = 0; s < p_.size(); ++s) {
      for (std::size_t c = 0; c < kCauseCount; ++c) {
        out[c] += (present(s) >> c & 1U) != 0 ? p_[s] : 0;
      }
    }
    return out;
  }
  [[nodiscard]] double broken() const {
    double sum = 0;
    for (std::size_t s = 0; s < p_.size(); ++s) {
      sum += corrosion(s) == 2 || insulation(s) == 2 ? p_[s] : 0;
    }
    return sum;
  }

 private:
  static std::size_t seal(std::size_t s) { return s / 72; }
  static std::size_t corrosion(std::size_t s) { return s / 24 % 3; }
  static std::size_t insulation(std::size_t s) { return s / 8 % 3; }
  static std::size_t present(std::size_t s) {
    return (seal(s) > 0 ? 1U : 0U) | (corrosion(s) > 0 ? 2U : 0U) | (s & 1U) << 2U |
           (s >> 1U & 1U) << 3U | (insulation(s) > 0 ? 16U : 0U) | (s >> 2U & 1U) << 5U;
  }

  void one(const Clock& from, const Clock& to, double working) {
    const Settings& rules = k_.settings;
    std::vector<double> gain(p_.size());
    const auto flows = [&](std::size_t s, std::size_t into, double chance) {
      gain[into] += p_[s] * chance;
      gain[s] -= p_[s] * chance;
    };
    const auto hazard = [](double share) { return -std::log(1 - share); };
    const double usual = rules.base_km + rules.rest_km_per_day * kDaysPerYear * rules.base_km /
                                             k_.settings.km_per_year;
    const Wear& wear = *k_.causes[0].wear;
    const auto worn = [&](const Clock& c) {
      const bool wears = (wear.cooling >> idx(c.cooling) & 1U) != 0;
      return wears ? std::pow(c.seal_km / wear.scale_km, wear.shape) +
                         std::pow(c.seal_years / wear.scale_years, wear.shape)
                   : 0;
    };
    const auto etched = [&](std::size_t g, double km, Bearings material) {
      const CauseRule& cause =
          k_.causes[idx(g == 0 ? Cause::rotor_bearing_erosion : Cause::gear_bearing_erosion)];
      return hazard(cause.base[idx(material)]) * std::pow(km / rules.base_km, rules.erosion_shape);
    };
    for (std::size_t s = 0; s < p_.size(); ++s) {
      if (seal(s) == 0) {
        flows(s, s + 72, worn(to) - worn(from));
      } else if (seal(s) < kSealStages) {
        flows(s, s + 72, working / k_.stages[seal(s) - 1].lasts_km);
      }
      for (std::size_t h = 0; h < 2; ++h) {
        const HarmRule& harm = k_.harms[h];
        const std::size_t level = h == 0 ? corrosion(s) : insulation(s);
        const double base = hazard(k_.causes[idx(harm.cause)].base[0]) / usual;
        const double by_leak = seal(s) > 0 ? 1 / harm.after_km[seal(s) - 1] : 0;
        if (level < 2) {
          flows(s, s + (h == 0 ? 24 : 8),
                working * (level == 0 ? base + by_leak : 1 / harm.breakdown_km));
        }
      }
      if ((s & 1U) == 0) {
        flows(s, s + 1, etched(0, to.rotor_km, to.rotor) - etched(0, from.rotor_km, to.rotor));
      }
      if ((s & 2U) == 0) {
        flows(s, s + 2, etched(1, to.gear_km, to.gear) - etched(1, from.gear_km, to.gear));
      }
      const double passed = (to.seal_km - from.seal_km) / rules.outside_km;
      const double share = k_.causes[idx(Cause::outside_noise)].base[0];
      flows(s, s ^ 4U, passed * ((s & 4U) == 0 ? share : 1 - share));
    }
    for (std::size_t s = 0; s < p_.size(); ++s) {
      p_[s] += gain[s];
    }
  }

  [[nodiscard]] double like(const Levels& levels, std::size_t s) const {
    const double reaches = seal(s) > 0 ? k_.stages[seal(s) - 1].reaches : 0;
    double dry = 1;
    double reached = 1;
    double itself = 1;
    for (const FindingSpec& f : findings()) {
      const int level = levels[idx(f.id)];
      if (level < 0 || f.detail_of == Finding::noise) {
        continue;
      }
      const auto chance = [&](std::size_t causes) {
        return chance_of(k_, f.id, level, causes, corrosion(s) == 2, insulation(s) == 2);
      };
      if (f.id == Finding::opened_seal_leak) {
        itself *= chance(present(s));
      } else {
        dry *= chance(present(s) & ~std::size_t{1});
        reached *= chance(present(s) | 1U);
      }
    }
    return said(levels, s) * itself * ((1 - reaches) * dry + reaches * reached);
  }

  // That nobody has said of a broken-down unit that it is one.
  [[nodiscard]] double said(const Levels& levels, std::size_t s) const {
    double all = 1;
    for (const HarmRule& h : k_.harms) {
      const bool corroded = h.cause == Cause::rotor_bearing_corrosion;
      const bool told = std::ranges::any_of(k_.broken, [&](const BrokenRule& b) {
        return b.cause == h.cause &&
               levels[idx(b.finding)] + 1 == static_cast<int>(spec(b.finding).levels.size());
      });
      all *=
          (corroded ? corrosion(s) : insulation(s)) == 2 && !told ? k_.settings.broken_unsaid : 1;
    }
    return all;
  }

  const Knowledge& k_;
  std::vector<double> p_;
};

Levels any_look(Dice& dice) {
  Levels levels = nothing_seen();
  for (const Finding f : kComplete) {
    const double kind = dice.next();
    if (kind < 0.85) {
      levels[idx(f)] =
          kind < 0.75 ? 0 : static_cast<std::int8_t>(dice.below(spec(f).levels.size()));
    }
  }
  if (dice.next() < 0.1) {
    levels[idx(Finding::opened_seal_leak)] = static_cast<std::int8_t>(dice.below(2));
  }
  return levels;
}

Clock any_clock(Dice& dice) {
  Clock at;
  at.cooling = dice.next() < 0.8 ? Cooling::wet : Cooling::bypassed;
  at.rotor = static_cast<Bearings>(dice.below(3));
  at.gear = static_cast<Bearings>(dice.below(3));
  return at;
}

void agrees_with_steps(std::size_t histories, std::uint64_t seed, double step, double margin) {
  Dice dice(seed);
  for (std::size_t n = 0; n < histories; ++n) {
    Clock at = any_clock(dice);
    Belief belief = life().newborn();
    Steps steps(shipped());
    const std::size_t looks = 1 + dice.below(5);
    for (std::size_t i = 0; i < looks; ++i) {
      const double km = 40000 * dice.next();
      const Clock next = at.later(km, km / 20000 * (0.5 + dice.next()));
      life().drive(belief, at, next);
      steps.drive(at, next, step);
      const Levels levels = any_look(dice);
      look(belief, levels);
      steps.look(levels);
      at = next;
      const Chances c = chances(belief);
      const std::array<double, kCauseCount> expected = steps.causes();
      for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
        INFO(n << ": " << causes()[cause].name << " after look " << i + 1);
        REQUIRE(c.cause[cause] == Approx(expected[cause]).margin(margin));
      }
      REQUIRE(c.broken == Approx(steps.broken()).margin(margin));
    }
  }
}

TEST_CASE("a life agrees with its chain in small steps") {
  agrees_with_steps(12, 1, 25, 2e-3);  // an error of the steps: in proportion to them
}

TEST_CASE("a life agrees with its chain in small steps, many of them", "[long]") {
  agrees_with_steps(200, 2, 25, 2e-3);  // 700 more: tests/life_r_test.py
}

TEST_CASE("half the step and half the longest piece change nothing that is printed") {
  const Life finer(shipped(), 32, 8);
  Dice dice(3);
  for (int n = 0; n < 200; ++n) {
    const Clock start = any_clock(dice);
    Clock at = start;
    Belief rough = life().newborn();
    Belief fine = rough;
    for (std::size_t i = 0, count = 1 + dice.below(6); i < count; ++i) {
      const Clock next = at.later(50000 * dice.next(), 3 * dice.next());
      const Levels seen = any_look(dice);
      life().drive(rough, at, next);
      finer.drive(fine, at, next);
      look(rough, seen);
      look(fine, seen);
      at = next;
    }
    const Chances a = chances(rough);
    const Chances b = chances(fine);
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      REQUIRE(a.cause[cause] == Approx(b.cause[cause]).margin(5e-4));
    }
  }
}

// Rules whose seal has a constant chance of beginning to leak, and no harm.
Knowledge plain_rules(double onset_km) {
  Knowledge k = shipped();
  k.causes[0].wear->shape = 1;
  k.causes[0].wear->scale_km = onset_km;
  k.causes[0].wear->scale_years = 1e12;
  k.causes[0].base.fill(0);
  k.settings.rest_km_per_day = 0;
  for (HarmRule& harm : k.harms) {
    harm.after_km.fill(1e15);
    k.causes[idx(harm.cause)].base.fill(0);
  }
  return k;
}

TEST_CASE("without harm and with a constant chance the stages of a leak have closed forms") {
  const double onset = 200000;
  const Knowledge k = plain_rules(onset);
  const Life plain(k);
  const double x = 48000;
  Belief belief = plain.newborn();
  plain.drive(belief, {}, Clock().later(x, 1));
  const Chances c = chances(belief);
  // Three exponential waits one after the other.
  const double a = 1 / onset;
  const double b = 1 / k.stages[0].lasts_km;
  const double d = 1 / k.stages[1].lasts_km;
  const double tight = std::exp(-a * x);
  const double damp = a / (b - a) * (std::exp(-a * x) - std::exp(-b * x));
  const double wet =
      a * b *
      (std::exp(-a * x) / ((b - a) * (d - a)) + std::exp(-b * x) / ((a - b) * (d - b)) +
       std::exp(-d * x) / ((a - d) * (b - d)));
  CHECK(c.seal[0] == Approx(tight).epsilon(1e-9));
  CHECK(c.seal[1] == Approx(damp).epsilon(1e-4));
  CHECK(c.seal[2] == Approx(wet).epsilon(1e-4));
  CHECK(c.seal[3] == Approx(1 - tight - damp - wet).epsilon(1e-4));
  CHECK(c.damaged == Approx(0).margin(1e-9));
}

TEST_CASE("looks that miss nothing leave only what has begun since") {
  Knowledge k = plain_rules(200000);
  for (StageRule& s : k.stages) {
    s.reaches = 1;
  }
  for (Link& link : k.links) {
    if (link.finding == Finding::port_fluid && link.cause == Cause::seal_leak) {
      link.shows = {1, 1, 0.5, 0.1};
    }
  }
  const Model model(k);
  const Life& plain = model.life();
  Levels dry = nothing_seen();
  dry[idx(Finding::port_fluid)] = 0;
  Belief belief = after(model, {{90000, 4, dry}});
  CHECK(risk_of(belief) == Approx(0).margin(1e-12));
  const Clock then = Clock().later(90000, 4);
  plain.drive(belief, then, then.later(16000, 1));
  CHECK(risk_of(belief) == Approx(1 - std::exp(-16000 / 200000.0)).epsilon(1e-9));
}

TEST_CASE("distance alone condemns nothing") {
  const auto one_look_at = [](double km) { return risk_after({{km, km / 20000, dry_look()}}); };
  CHECK(one_look_at(60000) < 0.01);
  CHECK(one_look_at(150000) < 0.03);
  CHECK(one_look_at(450000) < 0.10);
  CHECK(one_look_at(610000) < 0.20);
  // Looked at often and always dry, to 500,000 km.
  std::vector<Look> often(25, {20000, 1, dry_look()});
  CHECK(risk_after(often) < 0.10);
  const double last_alone = one_look_at(500000);
  CHECK(risk_after(often) < last_alone);
  // Two looks at most cannot be worse than the second alone.
  CHECK(risk_after({{130000, 6, dry_look()}, {20000, 1, dry_look()}}) <
        risk_after({{150000, 7, dry_look()}}));
}

TEST_CASE("a young unit has little erosion, whatever its bearings are made of") {
  Clock at;
  at.rotor = at.gear = Bearings::steel;
  Belief belief = life().newborn();
  life().drive(belief, at, at.later(100, 0.01));
  CHECK(chances(belief).cause[idx(Cause::rotor_bearing_erosion)] < 0.0001);
  const Clock old = at.later(160000, 8);
  belief = life().newborn();
  life().drive(belief, at, old);
  const Chances c = chances(belief);
  CHECK(c.cause[idx(Cause::rotor_bearing_erosion)] == Approx(0.35).epsilon(1e-9));
  CHECK(c.cause[idx(Cause::gear_bearing_erosion)] == Approx(0.28).epsilon(1e-9));
}

void end(Belief& belief, Cause cause) {
  Underway unit(belief);
  Life::end(unit, cause);
  belief = unit.belief();
}

TEST_CASE("cores and rests go the same way apart and together") {
  Levels heard = nothing_seen();
  heard[idx(Finding::noise)] = 1;
  for (const bool told : {false, true}) {
    Clock at;
    const Clock then = at.later(180000, 9);
    const Clock later = then.later(21234, 1.3);
    Belief belief = life().newborn();
    life().drive(belief, at, then);
    if (told) {
      look(belief, heard);
    }
    Underway apart(belief);
    CHECK(apart.apart != told);
    Underway together(belief);
    together.join();
    CHECK_FALSE(together.apart);
    for (Underway* unit : {&apart, &together}) {
      life().drive(*unit, then, later);
      life().renew_seal(*unit);
      Life::end(*unit, Cause::gear_bearing_erosion);
      Life::end(*unit, Cause::insulation_loss);
      life().drive(*unit, at, then);
    }
    const Belief one = apart.belief();
    const Belief other = together.belief();
    for (std::size_t core = 0; core < kCores; ++core) {
      for (std::size_t r = 0; r < kRests; ++r) {
        INFO(core << " " << r);
        CHECK(one.at[core][r] == Approx(other.at[core][r]).epsilon(1e-12).margin(1e-18));
      }
    }
  }
}

TEST_CASE("a bypass ends the leak and not what it did") {
  Clock at;
  const Clock then = at.later(300000, 15);
  Belief belief = life().newborn();
  life().drive(belief, at, then);
  end(belief, Cause::seal_leak);
  look(belief, dry_look());
  const Chances c = chances(belief);
  CHECK(c.cause[idx(Cause::seal_leak)] == 0);
  CHECK(c.cause[idx(Cause::rotor_bearing_corrosion)] > 0.005);
}

TEST_CASE("work ends the cause that it mends, and nothing else") {
  Levels looked = nothing_seen();
  looked[idx(Finding::port_rust)] = 1;
  const Belief belief = after(shipped_model(), {{200000, 10, looked}});
  const Chances before = chances(belief);
  for (const CauseSpec& mended : causes()) {
    Belief now = belief;
    end(now, mended.id);
    const Chances c = chances(now);
    for (const CauseSpec& other : causes()) {
      INFO(mended.name << ", " << other.name);
      const double expected = other.id == mended.id ? 0 : before.cause[idx(other.id)];
      CHECK(c.cause[idx(other.id)] == Approx(expected).margin(1e-12));
    }
  }
}

TEST_CASE("one more dry look never raises the risk") {
  Dice dice(5);
  for (int n = 0; n < 300; ++n) {
    std::vector<Look> looks;
    for (std::size_t i = 0, count = dice.below(4); i < count; ++i) {
      looks.push_back({60000 * dice.next(), 3 * dice.next(), any_look(dice)});
    }
    looks.push_back({60000 * dice.next(), 3 * dice.next(), nothing_seen()});
    const double before = risk_after(looks);
    looks.back().levels = dry_look();
    REQUIRE(risk_after(looks) <= before + 1e-12);
  }
}

TEST_CASE("a worse value in any look never lowers the risk") {
  Dice dice(6);
  constexpr Finding kSingly[] = {Finding::port_fluid, Finding::port_residue,
                                 Finding::port_rust,  Finding::port_debris,
                                 Finding::rotation,   Finding::isolation_fault,
                                 Finding::insulation, Finding::opened_seal_leak};
  for (int n = 0; n < 400; ++n) {
    std::vector<Look> looks;
    for (std::size_t i = 0, count = 1 + dice.below(4); i < count; ++i) {
      looks.push_back({60000 * dice.next(), 3 * dice.next(), any_look(dice)});
      looks.back().levels[idx(Finding::noise)] = -1;  // what explains a noise away comes on top
    }
    Look& changed = looks[dice.below(looks.size())];
    const Finding f = kSingly[dice.below(std::size(kSingly))];
    double before = 0;
    for (std::size_t level = 0; level < spec(f).levels.size(); ++level) {
      changed.levels[idx(f)] = static_cast<std::int8_t>(level);
      const double risk = risk_after(looks);
      INFO(n << ": " << name(f) << " " << level);
      REQUIRE(risk >= before - 1e-12);
      before = risk;
    }
  }
}

// ---------------------------------------------------- a shop whose process is not ours

// Units of a shop: leaks, harm and looks after other distributions than those of the rules (waits
// that scatter less than exponential ones, another wear-out, other strengths). Invented.
struct Shop {
  double score = 0;  // mean of -log of the chance given to what was the case, of a damaging cause
  std::size_t looks = 0;
  std::size_t sound = 0;
  std::size_t sound_condemned = 0;  // said to be probably damaged
  std::size_t hurt = 0;
  std::size_t hurt_cleared = 0;  // said to be hardly damaged
};

Shop shop(std::uint64_t seed, std::size_t units) {
  Dice dice(seed);
  Shop out;
  const auto wait = [&](double mean) {  // Erlang, two stages
    return -mean / 2 * (std::log(1 - dice.next()) + std::log(1 - dice.next()));
  };
  for (std::size_t n = 0; n < units; ++n) {
    const double km_a_year = 12000 + 18000 * dice.next();
    const double working = life().working_km(km_a_year, 1) / km_a_year;
    // Weibull, shape 3, by distance alone.
    const double onset = 330000 * std::cbrt(-std::log(1 - dice.next()));
    const double wet = onset + wait(6000) / working;
    const double dripping = wet + wait(15000) / working;
    const double corroded = std::min(wet + wait(30000) / working, dripping + wait(8000) / working);
    const double failed = std::min(wet + wait(80000) / working, dripping + wait(20000) / working);
    const double broken =
        std::min(corroded + wait(22000) / working, failed + wait(22000) / working);
    Belief belief = life().newborn();
    Clock at;
    for (double years = 0;;) {
      years += 1 + 2 * dice.next();
      const double km = years * km_a_year;
      if (years > 12 || km > broken) {
        break;
      }
      const auto happens = [&](double p) { return static_cast<std::int8_t>(dice.next() < p); };
      const double reach = km < onset ? 0 : km < wet ? 0.5 : km < dripping ? 0.95 : 1;
      const bool reached = dice.next() < reach;
      const bool rusts = km > corroded;
      Levels seen = nothing_seen();
      seen[idx(Finding::port_fluid)] =
          reached ? static_cast<std::int8_t>(happens(0.75) + happens(0.3)) : happens(0.015);
      if (seen[idx(Finding::port_fluid)] > 0) {
        seen[idx(Finding::port_fluid_kind)] =
            dice.next() < (reached ? 0.9 : 0.02)
                ? static_cast<std::int8_t>(spec(Finding::port_fluid_kind).levels.size() - 1)
                : std::int8_t{0};
      }
      seen[idx(Finding::port_residue)] = happens(reached ? 0.5 : 0.02);
      seen[idx(Finding::port_rust)] = happens(rusts ? 0.7 : reached ? 0.2 : 0.03);
      seen[idx(Finding::rotation)] = happens(rusts ? 0.15 : 0.005);
      seen[idx(Finding::isolation_fault)] = happens(km > failed ? 0.7 : 0.01);
      seen[idx(Finding::shutdown)] = happens(km > failed ? 0.25 : 0.02);
      const Clock next = at.later(km - at.seal_km, years - at.seal_years);
      life().drive(belief, at, next);
      look(belief, seen);
      at = next;
      const double risk = risk_of(belief);
      const bool hurt = km > onset;
      out.score -= std::log(hurt ? risk : 1 - risk);
      ++out.looks;
      (hurt ? out.hurt : out.sound) += 1;
      out.sound_condemned += !hurt && risk >= shipped().settings.risk_high ? 1U : 0U;
      out.hurt_cleared += hurt && risk < shipped().settings.risk_raised ? 1U : 0U;
      if (risk > 0.9) {
        break;  // it is opened
      }
    }
  }
  out.score /= static_cast<double>(out.looks);
  return out;
}

TEST_CASE("a shop whose process is not ours is judged well") {
  const Shop s = shop(11, 2000);
  REQUIRE(s.looks > 10000);
  CHECK(s.score < 0.07);
  CHECK(static_cast<double>(s.sound_condemned) < 0.003 * static_cast<double>(s.sound));
  // Most of these are weeps that have not reached the tip yet.
  CHECK(static_cast<double>(s.hurt_cleared) < 0.25 * static_cast<double>(s.hurt));
}

TEST_CASE("a look that cannot have been teaches nothing") {
  Knowledge k = plain_rules(1e15);  // nothing ever leaks
  for (CauseRule& c : k.causes) {
    c.base.fill(0);
  }
  k.causes[0].wear.reset();
  for (Background& b : k.backgrounds) {
    b.anyway = {1, 0, 0, 0};
  }
  const Model model(k);
  Levels wet = nothing_seen();
  wet[idx(Finding::port_fluid)] = 1;
  const Belief belief = after(model, {{1000, 1, wet}});
  CHECK(risk_of(belief) == Approx(0).margin(1e-12));
}

}  // namespace
}  // namespace dryshaft

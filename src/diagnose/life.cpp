#include "diagnose/life.hpp"

#include <algorithm>
#include <cmath>
#include <type_traits>

#include "base/index.hpp"
#include "base/two.hpp"

namespace dryshaft {
namespace {

constexpr std::size_t kLeaking = core_of(1, 0, 0);  // the first core with a leak

constexpr bool bit(std::size_t set, auto e) { return (set >> idx(e) & 1U) != 0; }

double hazard_of(double share) { return -std::log1p(-share); }

// Whole, harmed, broken down: chances after `km`, each row from one of them.
std::array<std::array<double, kHarmStates>, kHarmStates> harm_after(double rate, double breakdown,
                                                                    double km) {
  const double whole = std::exp(-rate * km);
  const double still = std::exp(-breakdown * km);
  // Harmed by then and not yet broken down; the limit where both rates are alike.
  const double apart = (breakdown - rate) * km;
  const double harmed =
      std::abs(apart) < 1e-9 ? rate * km * whole : rate * km * whole * -std::expm1(-apart) / apart;
  return {{{whole, harmed, std::max(0.0, 1 - whole - harmed)}, {0, still, 1 - still}, {0, 0, 1}}};
}

using Dense = std::array<std::array<double, kCores>, kCores>;  // [to][from]

Dense times(const Dense& a, const Dense& b) {
  Dense out{};
  for (std::size_t to = kLeaking; to < kCores; ++to) {
    for (std::size_t via = kLeaking; via <= to; ++via) {
      for (std::size_t from = 0; from <= via && a[to][via] != 0; ++from) {
        out[to][from] += a[to][via] * b[via][from];
      }
    }
  }
  return out;
}

// Of tight seals after some harm without a leak: `harmed[from][to]`.
template <typename Harmed>
Dense after_harm(const Dense& a, const Harmed& harmed) {
  Dense out{};
  for (std::size_t to = kLeaking; to < kCores; ++to) {
    for (std::size_t from = 0; from < kLeaking; ++from) {
      for (std::size_t via = from; via < kLeaking; ++via) {
        out[to][from] += a[to][via] * harmed[from][via];
      }
    }
  }
  return out;
}

Dense sum(const Dense& a, double x, const Dense& b, double y) {
  Dense out{};
  for (std::size_t to = 0; to < kCores; ++to) {
    for (std::size_t from = 0; from < kCores; ++from) {
      out[to][from] = a[to][from] * x + b[to][from] * y;
    }
  }
  return out;
}

}  // namespace

Life::Life(const Knowledge& knowledge, double step_km, unsigned longest) {
  const Settings& settings = knowledge.settings;
  const auto base = [&](Cause c) { return knowledge.causes[idx(c)].base; };
  rest_km_per_day_ = settings.rest_km_per_day;
  base_km_ = settings.base_km;
  leaks_when_new_ = base(Cause::seal_leak)[0];
  wear_ = knowledge.causes[idx(Cause::seal_leak)].wear;
  if (wear_) {
    const double halves = 2 * wear_->shape;
    constexpr double kMost = 12;
    half_shapes_ = halves > 0 && halves <= kMost && halves == std::floor(halves)
                       ? static_cast<unsigned>(halves)
                       : 0;
    for (const WearPoint& p : wear_->table) {
      table_.push_back({std::log(p.at), std::log(p.hazard)});
    }
  }
  for (std::size_t s = 0; s < kSealStages; ++s) {
    const StageRule& stage = knowledge.stages[s];
    leaves_[s] = stage.lasts_km > 0 ? 1 / stage.lasts_km : 0;
  }
  const double working = working_km(base_km_, base_km_ / settings.km_per_year);
  for (std::size_t h = 0; h < harms_.size(); ++h) {
    const HarmRule& harm = knowledge.harms[h];
    harms_[h].breakdown = 1 / harm.breakdown_km;
    harms_[h].rate[0] = hazard_of(base(harm.cause)[0]) / working;
    for (std::size_t s = 0; s < kSealStages; ++s) {
      harms_[h].rate[s + 1] = harms_[h].rate[0] + 1 / harm.after_km[s];
    }
  }
  for (std::size_t g = 0; g < etched_.size(); ++g) {
    const CauseRule& cause = knowledge.causes[idx(kRestCauses[g])];
    for (std::size_t material = 0; material < etched_[g].size(); ++material) {
      etched_[g][material] = hazard_of(cause.base[cause.by ? material : 0]);
    }
  }
  etched_shape_ = settings.erosion_shape;
  outside_ = base(Cause::outside_noise)[0];
  outside_km_ = settings.outside_km;
  compile_pieces(step_km, longest);
}

double Life::working_km(double km, double years) const {
  return km + rest_km_per_day_ * kDaysPerYear * years;
}

// Straight lines in logs: a Weibull hazard is one, so that few points hold it.
double Life::table_hazard(double at) const {
  if (!(at > 0)) {
    return 0;
  }
  const double log_at = std::log(at);
  const auto after = std::ranges::upper_bound(table_, log_at, {}, &TablePoint::log_at);
  const auto first = std::clamp(after - table_.begin() - 1, std::ptrdiff_t{0},
                                static_cast<std::ptrdiff_t>(table_.size()) - 2);
  const TablePoint& a = table_[static_cast<std::size_t>(first)];
  const TablePoint& b = table_[static_cast<std::size_t>(first) + 1];
  return std::exp(a.log_hazard +
                  (log_at - a.log_at) * (b.log_hazard - a.log_hazard) / (b.log_at - a.log_at));
}

double Life::wear_hazard(double km, double years) const {
  if (!wear_) {
    return 0;
  }
  const Wear& wear = *wear_;
  if (!table_.empty()) {
    // The part that the table does not speak of stays as the rules have it: the worse reading.
    return wear.table_by_years ? table_hazard(years) + std::pow(km / wear.scale_km, wear.shape)
                               : table_hazard(km) + std::pow(years / wear.scale_years, wear.shape);
  }
  const double by_km = km / wear.scale_km;
  const double by_years = years / wear.scale_years;
  if (half_shapes_ == 0) {
    return std::pow(by_km, wear.shape) + std::pow(by_years, wear.shape);
  }
  // A shape such as 2 or 2.5, as most are written: products and one root.
  const auto power = [this](double x) {
    double y = half_shapes_ % 2 != 0 ? std::sqrt(x) : 1;
    for (unsigned n = half_shapes_ / 2; n != 0; --n) {
      y *= x;
    }
    return y;
  };
  return power(by_km) + power(by_years);
}

Life::Harm Life::harmed_after(double working) const {
  const auto corrodes = harm_after(harms_[0].rate[0], harms_[0].breakdown, working);
  const auto loses = harm_after(harms_[1].rate[0], harms_[1].breakdown, working);
  Harm harmed{};
  for (std::size_t from = 0; from < kTight; ++from) {
    for (std::size_t to = 0; to < kTight; ++to) {
      harmed[from][to] = corrodes[from / kHarmStates][to / kHarmStates] *
                         loses[from % kHarmStates][to % kHarmStates];
    }
  }
  return harmed;
}

void Life::compile_pieces(double step_km, unsigned longest) {
  // Constant chances among states with a leak, times the step.
  Dense pace{};
  for (std::size_t seal = 1; seal < kSealStates; ++seal) {
    for (std::size_t c = 0; c < kHarmStates; ++c) {
      for (std::size_t i = 0; i < kHarmStates; ++i) {
        const std::size_t from = core_of(seal, c, i);
        const auto moves = [&](std::size_t to, double rate) {
          pace[to][from] += rate * step_km;
          pace[from][from] -= rate * step_km;
        };
        if (seal + 1 < kSealStates) {
          moves(core_of(seal + 1, c, i), leaves_[seal - 1]);
        }
        if (c + 1 < kHarmStates) {
          moves(core_of(seal, c + 1, i), c == 0 ? harms_[0].rate[seal] : harms_[0].breakdown);
        }
        if (i + 1 < kHarmStates) {
          moves(core_of(seal, c, i + 1), i == 0 ? harms_[1].rate[seal] : harms_[1].breakdown);
        }
      }
    }
  }
  // A leak begins damp, with what harm there was.
  Dense begins{};
  Dense same{};
  for (std::size_t core = 0; core < kLeaking; ++core) {
    begins[core + kLeaking][core] = 1;
  }
  for (std::size_t core = kLeaking; core < kCores; ++core) {
    same[core][core] = 1;
  }
  // Series for one step: exp(Q), and its integrals with weights 1 and t against `begins`.
  constexpr int kTerms = 12;
  Dense whole = same;
  Dense begun = begins;
  Dense late = sum(begins, 0.5, begins, 0);
  Dense power = same;  // Q^n / n!
  double first = 1;    // of Q^n: 1 / (n + 1)! and 1 / (n + 2)! by these
  for (int n = 1; n <= kTerms; ++n) {
    power = times(pace, power);
    power = sum(power, 1.0 / n, power, 0);
    first = 1.0 / (n + 1);
    const Dense started = times(power, begins);
    whole = sum(whole, 1, power, 1);
    begun = sum(begun, 1, started, first);
    late = sum(late, 1, started, first / (n + 2));
  }
  // In the shortest piece, a leak begins with the harm of its middle.
  begun = after_harm(begun, harmed_after(step_km / 2));
  late = after_harm(late, harmed_after(step_km / 2));
  for (unsigned k = 0;; ++k) {
    Piece& piece = pieces_.emplace_back();
    piece.length = std::ldexp(step_km, static_cast<int>(k));
    for (std::size_t to = kLeaking; to < kCores; ++to) {
      for (std::size_t from = 0; from < kCores; ++from) {
        if (from < kLeaking) {
          piece.begun[from][to - kLeaking] = begun[to][from];
          piece.late[from][to - kLeaking] = late[to][from];
        } else {
          piece.leaking[from - kLeaking][to - kLeaking] = whole[to][from];
        }
      }
    }
    piece.harmed = harmed_after(piece.length);
    if (k == longest) {
      return;
    }
    // Begun in the first half, or in the second after the harm of the first.
    const Dense second = after_harm(begun, piece.harmed);
    late =
        sum(sum(times(whole, late), 0.25, second, 0.25), 1, after_harm(late, piece.harmed), 0.25);
    begun = sum(times(whole, begun), 0.5, second, 0.5);
    whole = times(whole, whole);
  }
}

namespace {

// A row of a belief: one number, or one for each rest.
void add(double& to, double from, double x) { to += from * x; }
void add(std::array<double, kRests>& to, const std::array<double, kRests>& from, double x) {
  static_assert(kRests % 2 == 0);
  for (std::size_t r = 0; r < kRests; r += 2) {
    store(&to[r], load(&to[r]) + load(&from[r]) * x);
  }
}
// What is worse than the best of `states` that stand `place` apart becomes the best.
template <typename Row>
void heal(std::array<Row, kCores>& at, std::size_t place, std::size_t states) {
  for (std::size_t core = 0; core < kCores; ++core) {
    if (const std::size_t here = core / place % states; here > 0) {
      add(at[core - here * place], at[core], 1);
      at[core] = {};
    }
  }
}
// What can follow from one harm, of both kinds together: calls `to(harm)` for each. Single numbers
// go side by side, those that cannot follow with a chance of 0.
template <typename Row, typename Take>
void follows(std::size_t from, Take to) {
  if constexpr (std::is_same_v<Row, double>) {
    for (std::size_t harm = from; harm < kHarmStates * kHarmStates; ++harm) {
      to(harm);
    }
  } else {
    for (std::size_t c = from / kHarmStates; c < kHarmStates; ++c) {
      for (std::size_t i = from % kHarmStates; i < kHarmStates; ++i) {
        to(c * kHarmStates + i);
      }
    }
  }
}
bool is_nothing(double row) { return row == 0; }
bool is_nothing(const std::array<double, kRests>& row) {
  return std::ranges::all_of(row, [](double x) { return x == 0; });
}

}  // namespace

// `first` and `second`: shares of the tight seals that begin to leak in each half of the piece.
template <typename Row>
void Life::one_piece(std::array<Row, kCores>& at, const Piece& piece, double first,
                     double second) const {
  std::array<Row, kTight> tight{};
  std::array<Row, kLeaks + 1> leaks{};  // the last: nothing
  // Harm without a leak, of those that stay tight; leaks begin at a pace that changes in a straight
  // line.
  const double all = first + second;
  const double slope = all > 0 ? std::clamp(2 * (second - first) / all, -1.0, 1.0) : 0;
  const double even = all * (1 - slope);
  const double late = all * 2 * slope;
  constexpr bool kOne = std::is_same_v<Row, double>;
  for (std::size_t from = 0; from < kTight; ++from) {
    const Row& here = at[from];
    if (is_nothing(here)) {
      continue;
    }
    follows<Row>(from,
                 [&](std::size_t to) { add(tight[to], here, piece.harmed[from][to] * (1 - all)); });
    if (!(all > 0)) {
      continue;
    }
    if constexpr (kOne) {
      // In pairs: what cannot follow has a chance of 0.
      const double evenly = even * here;
      const double lately = late * here;
      for (std::size_t to = 0; to < kLeaks + 1; to += 2) {
        store(&leaks[to], load(&leaks[to]) + load(&piece.begun[from][to]) * evenly +
                              load(&piece.late[from][to]) * lately);
      }
    } else {
      for (std::size_t seal = 0; seal < kSealStages; ++seal) {
        follows<Row>(from, [&](std::size_t harm) {
          const std::size_t to = seal * kTight + harm;
          add(leaks[to], here, piece.begun[from][to] * even + piece.late[from][to] * late);
        });
      }
    }
  }
  for (std::size_t from = 0; from < kLeaks; ++from) {
    const Row& here = at[kLeaking + from];
    if (is_nothing(here)) {
      continue;
    }
    if constexpr (kOne) {
      for (std::size_t to = from & ~std::size_t{1}; to < kLeaks + 1; to += 2) {
        store(&leaks[to], load(&leaks[to]) + load(&piece.leaking[from][to]) * here);
      }
    } else {
      for (std::size_t seal = from / kTight; seal < kSealStages; ++seal) {
        follows<Row>(from % kTight, [&](std::size_t harm) {
          const std::size_t to = seal * kTight + harm;
          add(leaks[to], here, piece.leaking[from][to]);
        });
      }
    }
  }
  std::ranges::copy(tight, at.begin());
  std::copy_n(leaks.begin(), kLeaks, at.begin() + kLeaking);
}

Life::Way Life::way(const Clock& from, const Clock& to, Cooling cooling) const {
  const double km = to.seal_km - from.seal_km;
  const double years = to.seal_years - from.seal_years;
  return {from, km, years, working_km(km, years) / pieces_.front().length, wears(cooling)};
}

double Life::hazard_on(const Way& way, double steps) const {
  if (!way.wears) {
    return 0;
  }
  const double part = way.steps > 0 ? steps / way.steps : 0;
  return wear_hazard(way.from.seal_km + way.km * part, way.from.seal_years + way.years * part);
}

template <typename Row>
void Life::go(std::array<Row, kCores>& at, const Way& way, double done, double until) const {
  double left = until - done;
  double before = hazard_on(way, done);
  // Pieces as long as they may be: few leaks begin in a long one, and at a pace that a straight
  // line follows.
  constexpr double kFew = 0.5;
  const double short_enough = 16 * pieces_.front().length;
  std::size_t p = 0;
  while (p + 1 < pieces_.size() && std::ldexp(2.0, static_cast<int>(p)) <= left) {
    ++p;
  }
  while (left >= 1) {
    const double steps = pieces_[p].length / pieces_.front().length;
    if (p > 0 && steps > left) {
      --p;
      continue;
    }
    const double between = hazard_on(way, done + steps / 2);
    const double after = hazard_on(way, done + steps);
    if (p > 0 && pieces_[p].length > short_enough &&
        (after - before > kFew || after - between > 3 * (between - before))) {
      --p;
      continue;
    }
    const double half = -std::expm1(before - between);
    const double both = -std::expm1(before - after);
    one_piece(at, pieces_[p], half, both - half);
    before = after;
    done += steps;
    left -= steps;
    p = std::min(p + 1, pieces_.size() - 1);
  }
  if (left > 0) {  // a part of the shortest piece, in a straight line
    const double begins = -std::expm1(before - hazard_on(way, until)) / left / 2;
    std::array<Row, kCores> whole = at;
    one_piece(whole, pieces_.front(), begins, begins);
    for (std::size_t core = 0; core < kCores; ++core) {
      Row here{};
      add(here, at[core], 1 - left);
      add(here, whole[core], left);
      at[core] = here;
    }
  }
}

template <typename Row>
void Life::pieces(std::array<Row, kCores>& at, const Clock& from, const Clock& to) const {
  const Way all = way(from, to, from.cooling);
  go(at, all, 0, all.steps);
}

void Life::back(Worth& value, double working) const {
  const auto by = [&](const Piece& piece) {
    Worth before{};
    for (std::size_t from = 0; from < kLeaks; ++from) {
      for (std::size_t to = from; to < kLeaks; ++to) {
        before[from] += piece.leaking[from][to] * value[to];
      }
    }
    return before;
  };
  double left = working / pieces_.front().length;
  for (std::size_t p = pieces_.size(); p-- > 0;) {
    const double steps = std::ldexp(1.0, static_cast<int>(p));
    for (; left >= steps; left -= steps) {
      value = by(pieces_[p]);
    }
  }
  const Worth whole = by(pieces_.front());
  for (std::size_t core = 0; core < kLeaks; ++core) {
    value[core] += left * (whole[core] - value[core]);
  }
}

void Life::drive(Cores& cores, const Clock& from, const Clock& to) const {
  pieces(cores, from, to);
}

template <typename Move>
void Life::each_part(Belief& belief, const Clock& from, const Clock& to, const Move& move) const {
  // Whether all rests are alike in each core, as in a unit that nobody has looked at.
  Cores alone = cores_of(belief);
  std::array<double, kRests> share{};
  for (const auto& row : belief.at) {
    for (std::size_t r = 0; r < kRests; ++r) {
      share[r] += row[r];
    }
  }
  bool apart = true;
  for (std::size_t core = 0; core < kCores && apart; ++core) {
    for (std::size_t r = 0; r < kRests && apart; ++r) {
      apart = std::abs(belief.at[core][r] - alone[core] * share[r]) <= 1e-15;
    }
  }
  if (apart) {
    move(alone);
    rests({&share, 1}, from, to);
    for (std::size_t core = 0; core < kCores; ++core) {
      for (std::size_t r = 0; r < kRests; ++r) {
        belief.at[core][r] = alone[core] * share[r];
      }
    }
  } else {
    move(belief.at);
    rests(belief.at, from, to);
  }
}

void Life::drive(Belief& belief, const Clock& from, const Clock& to) const {
  each_part(belief, from, to, [&](auto& at) { pieces(at, from, to); });
}

void Life::rests(std::span<std::array<double, kRests>> rows, const Clock& from,
                 const Clock& to) const {
  const auto etches = [&](std::size_t g, double km_before, double km_after, Bearings material) {
    const auto at = [&](double km) { return std::pow(km / base_km_, etched_shape_); };
    return -std::expm1(etched_[g][idx(material)] * (at(km_before) - at(km_after)));
  };
  const std::array<double, 2> etched = {etches(0, from.rotor_km, to.rotor_km, to.rotor),
                                        etches(1, from.gear_km, to.gear_km, to.gear)};
  const double passed =
      -std::expm1((from.seal_km - to.seal_km) / outside_km_);  // of the way to the usual share
  for (auto& row : rows) {
    for (std::size_t g = 0; g < etched.size(); ++g) {
      for (std::size_t r = 0; r < kRests; ++r) {
        if ((r >> g & 1U) == 0) {
          const double moved = row[r] * etched[g];
          row[r] -= moved;
          row[r | std::size_t{1} << g] += moved;
        }
      }
    }
    for (std::size_t r = 0; r < kRests / 2; ++r) {
      double& without = row[r];
      double& with = row[r + kRests / 2];
      const double all = without + with;
      with += passed * (all * outside_ - with);
      without = all - with;
    }
  }
}

Belief Life::unseen(const Clock& from, const Clock& to) const {
  Cores cores{};
  cores[core_of(0, 0, 0)] = 1 - leaks_when_new_;
  cores[core_of(1, 0, 0)] = leaks_when_new_;
  drive(cores, from, to);
  const std::array<double, kRests> rest = rests_unseen(from, to);
  Belief belief;
  for (std::size_t core = 0; core < kCores; ++core) {
    for (std::size_t r = 0; r < kRests; ++r) {
      belief.at[core][r] = cores[core] * rest[r];
    }
  }
  return belief;
}

std::array<double, kRests> Life::rests_unseen(const Clock& from, const Clock& to) const {
  std::array<std::array<double, kRests>, 1> rest{};
  rest[0][0] = 1;
  rests(rest, from, to);
  return rest[0];
}

template <typename Row>
void Life::pieces_and_bypass(std::array<Row, kCores>& at, const Clock& from,
                             const Clock& to) const {
  // In the middle of cells of one piece each, which are short and many. Those bypassed so far go on
  // together.
  constexpr double kCellKm = 2500;
  constexpr double kLeastCells = 8;
  const Way wet = way(from, to, from.cooling);
  if (!(wet.steps > 0)) {
    heal(at, core_of(1, 0, 0), kSealStates);
    return;
  }
  const Way dry = way(from, to, to.cooling);
  const double most = std::min(kCellKm / pieces_.front().length, wet.steps / kLeastCells);
  const double cell = most < 1 ? most : std::exp2(std::floor(std::log2(most)));
  std::array<Row, kCores> bypassed{};
  double here = 0;
  for (double start = 0; start < wet.steps; start += cell) {
    const double width = std::min(cell, wet.steps - start);
    const double middle = start + width / 2;
    go(bypassed, dry, here, middle);
    go(at, wet, here, middle);
    std::array<Row, kCores> one = at;
    heal(one, core_of(1, 0, 0), kSealStates);
    for (std::size_t core = 0; core < kCores; ++core) {
      add(bypassed[core], one[core], width / wet.steps);
    }
    here = middle;
  }
  go(bypassed, dry, here, wet.steps);
  at = bypassed;
}

void Life::drive_and_bypass(Belief& belief, const Clock& from, const Clock& to) const {
  each_part(belief, from, to, [&](auto& at) { pieces_and_bypass(at, from, to); });
}

Belief Life::newborn() const {
  Belief belief;
  belief.at[core_of(0, 0, 0)][0] = 1;
  renew_seal(belief);
  return belief;
}

void Life::renew_seal(Belief& belief) const {
  end(belief, Cause::seal_leak);
  for (std::size_t core = 0; core < kLeaking; ++core) {
    for (std::size_t r = 0; r < kRests; ++r) {
      const double leaks = belief.at[core][r] * leaks_when_new_;
      belief.at[core][r] -= leaks;
      belief.at[core + kLeaking][r] += leaks;
    }
  }
}

void Life::end(Belief& belief, Cause cause) {
  switch (cause) {
    case Cause::seal_leak:
      heal(belief.at, core_of(1, 0, 0), kSealStates);
      return;
    case Cause::rotor_bearing_corrosion:
      heal(belief.at, core_of(0, 1, 0), kHarmStates);
      return;
    case Cause::insulation_loss:
      heal(belief.at, core_of(0, 0, 1), kHarmStates);
      return;
    default:
      break;
  }
  const auto b =
      static_cast<std::size_t>(std::ranges::find(kRestCauses, cause) - kRestCauses.begin());
  for (auto& row : belief.at) {
    for (std::size_t r = 0; r < kRests; ++r) {
      if ((r >> b & 1U) != 0) {
        row[r & ~(std::size_t{1} << b)] += row[r];
        row[r] = 0;
      }
    }
  }
}

Cores cores_of(const Belief& belief) {
  Cores cores{};
  for (std::size_t core = 0; core < kCores; ++core) {
    for (const double x : belief.at[core]) {
      cores[core] += x;
    }
  }
  return cores;
}

Chances chances(const Belief& belief) {
  Chances out;
  std::array<double, kRests> rests{};
  for (std::size_t core = 0; core < kCores; ++core) {
    const std::size_t seal = core / kLeaking;
    const std::size_t c = core / kHarmStates % kHarmStates;
    const std::size_t i = core % kHarmStates;
    double p = 0;
    for (std::size_t r = 0; r < kRests; ++r) {
      rests[r] += belief.at[core][r];
      p += belief.at[core][r];
    }
    out.seal[seal] += p;
    out.cause[idx(Cause::seal_leak)] += seal > 0 ? p : 0;
    out.cause[idx(kHarms[0])] += c > 0 ? p : 0;
    out.cause[idx(kHarms[1])] += i > 0 ? p : 0;
    out.damaged += c > 0 || i > 0 ? p : 0;
    out.broken += c == 2 || i == 2 ? p : 0;
  }
  for (std::size_t r = 0; r < kRests; ++r) {
    for (std::size_t b = 0; b < kRestCauses.size(); ++b) {
      out.cause[idx(kRestCauses[b])] += (r >> b & 1U) != 0 ? rests[r] : 0;
    }
  }
  return out;
}

}  // namespace dryshaft

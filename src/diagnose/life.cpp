#include "diagnose/life.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

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
    piece.steps = std::ldexp(1.0, static_cast<int>(k));
    piece.length = step_km * piece.steps;
    for (std::size_t to = kLeaking; to < kCores; ++to) {
      for (std::size_t from = 0; from < kCores; ++from) {
        if (from < kLeaking) {
          piece.cores.begun[from][to - kLeaking] = begun[to][from];
          piece.cores.late[from][to - kLeaking] = late[to][from];
        } else {
          piece.cores.leaking[from - kLeaking][to - kLeaking] = whole[to][from];
        }
      }
    }
    const Harm harmed = harmed_after(piece.length);
    for (std::size_t from = 0; from < kTight; ++from) {
      std::ranges::copy(harmed[from], piece.cores.harmed[from].begin());
    }
    piece.pair_up();
    if (k == longest) {
      return;
    }
    // Begun in the first half, or in the second after the harm of the first.
    const Dense second = after_harm(begun, harmed);
    late = sum(sum(times(whole, late), 0.25, second, 0.25), 1, after_harm(late, harmed), 0.25);
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

// Leaks that begin in a piece, at a pace that changes in a straight line.
struct Beginning {
  Beginning(double first, double second) : all(first + second) {
    const double slope = all > 0 ? std::clamp(2 * (second - first) / all, -1.0, 1.0) : 0;
    even = all * (1 - slope);
    late = all * 2 * slope;
  }
  double all;
  double even;
  double late;
};

}  // namespace

void Life::one_piece(Cores& at, const Piece& piece, double first, double second, double part) {
  const Beginning begins(first, second);
  if (part == 1) {
    move_cores(at, piece.cores, 1 - begins.all, begins.even, begins.late);
    return;
  }
  Cores moved = at;
  move_cores(moved, piece.cores, 1 - begins.all, begins.even, begins.late);
  for (std::size_t core = 0; core < kCores; ++core) {
    at[core] = at[core] * (1 - part) + moved[core] * part;
  }
}

void Life::Piece::pair_up() {
  for (std::size_t pair = 0; pair < kHarmPairs.size(); ++pair) {
    const auto [to, from] = kHarmPairs[pair];
    to_from[0][0][pair] = cores.harmed[from][to];
    for (std::size_t seal = 1; seal < kSealStates; ++seal) {
      const std::size_t leak = (seal - 1) * kTight + to;
      begun_in[seal][pair] = cores.begun[from][leak];
      late_in[seal][pair] = cores.late[from][leak];
      for (std::size_t before = 1; before <= seal; ++before) {
        to_from[seal][before][pair] = cores.leaking[(before - 1) * kTight + from][leak];
      }
    }
  }
}

namespace {

// `a` and `b` times so much.
HarmChances mixed(const HarmChances& a, double x, const HarmChances& b, double y) {
  HarmChances out;
  for (std::size_t i = 0; i < out.size(); i += 2) {
    store(&out[i], load(&a[i]) * x + load(&b[i]) * y);
  }
  return out;
}
// Chances that something comes of a harm, where it happens to a `part` of all alone.
HarmChances partly(const HarmChances& all, double part) {
  HarmChances out;
  for (std::size_t pair = 0; pair < out.size(); ++pair) {
    const bool stays = kHarmPairs[pair].to == kHarmPairs[pair].from;
    out[pair] = all[pair] * part + (stays ? 1 - part : 0);
  }
  return out;
}
HarmChances scaled(const HarmChances& all, double x) { return mixed(all, x, all, 0); }

}  // namespace

void Life::one_piece(Rows& at, const Piece& piece, double first, double second, double part) {
  const Beginning begins(first, second);
  std::array<std::array<HarmChances, kSealStates>, kSealStates> own;
  StageChances by{};
  for (std::size_t to = 0; to < kSealStates; ++to) {
    for (std::size_t from = 0; from <= to; ++from) {
      HarmChances& mine = own[to][from];
      by[to][from] = &mine;
      if (from > 0) {
        if (part == 1) {
          by[to][from] = &piece.to_from[to][from];
          continue;
        }
        mine = piece.to_from[to][from];
      } else if (to == 0) {
        mine = scaled(piece.to_from[0][0], 1 - begins.all);
      } else {
        mine = mixed(piece.begun_in[to], begins.even, piece.late_in[to], begins.late);
      }
      if (part < 1) {
        mine = to == from ? partly(mine, part) : scaled(mine, part);
      }
    }
  }
  move_rows(at, by);
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
  while (p + 1 < pieces_.size() && pieces_[p + 1].steps <= left) {
    ++p;
  }
  while (left >= 1) {
    const double steps = pieces_[p].steps;
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
    one_piece(at, pieces_[p], half, both - half, 1);
    before = after;
    done += steps;
    left -= steps;
    p = std::min(p + 1, pieces_.size() - 1);
  }
  if (left > 0) {  // a part of the shortest piece, in a straight line
    const double begins = -std::expm1(before - hazard_on(way, until)) / left / 2;
    one_piece(at, pieces_.front(), begins, begins, left);
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
        before[from] += piece.cores.leaking[from][to] * value[to];
      }
    }
    return before;
  };
  double left = working / pieces_.front().length;
  for (std::size_t p = pieces_.size(); p-- > 0;) {
    for (; left >= pieces_[p].steps; left -= pieces_[p].steps) {
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
void Life::each_part(Underway& unit, const Clock& from, const Clock& to, const Move& move) const {
  if (unit.apart) {
    move(unit.cores);
    rests({&unit.rests, 1}, from, to);
  } else {
    move(unit.rows);
    rests(unit.rows, from, to);
  }
}

void Life::drive(Underway& unit, const Clock& from, const Clock& to) const {
  each_part(unit, from, to, [&](auto& at) { pieces(at, from, to); });
}

void Life::drive(Belief& belief, const Clock& from, const Clock& to) const {
  Underway unit(belief);
  drive(unit, from, to);
  belief = unit.belief();
}

void Life::rests(std::span<std::array<double, kRests>> rows, const Clock& from,
                 const Clock& to) const {
  const auto etches = [&](std::size_t g, double km_before, double km_after, Bearings material) {
    const auto at = [&](double km) { return std::pow(km / base_km_, etched_shape_); };
    return -std::expm1(etched_[g][idx(material)] * (at(km_before) - at(km_after)));
  };
  const double rotor = etches(0, from.rotor_km, to.rotor_km, to.rotor);
  const double gear = etches(1, from.gear_km, to.gear_km, to.gear);
  const double passed =
      -std::expm1((from.seal_km - to.seal_km) / outside_km_);  // of the way to the usual share
  const Two stays = {1 - rotor, 1};
  const Two comes = {0, rotor};
  static_assert(kRests == 8);
  for (auto& row : rows) {
    std::array<Two, kRests / 2> two;
    for (std::size_t i = 0; i < two.size(); ++i) {
      two[i] = load(&row[2 * i]);
      two[i] = two[i] * stays + Two{two[i][0], two[i][0]} * comes;
    }
    for (std::size_t i = 0; i < two.size(); i += 2) {
      const Two moved = two[i] * gear;
      two[i] -= moved;
      two[i + 1] += moved;
    }
    for (std::size_t i = 0; i < two.size() / 2; ++i) {
      Two& without = two[i];
      Two& with = two[i + two.size() / 2];
      const Two all = without + with;
      with += passed * (all * outside_ - with);
      without = all - with;
    }
    for (std::size_t i = 0; i < two.size(); ++i) {
      store(&row[2 * i], two[i]);
    }
  }
}

Underway Life::unseen(const Clock& from, const Clock& to) const {
  Cores cores{};
  cores[core_of(0, 0, 0)] = 1 - leaks_when_new_;
  cores[core_of(1, 0, 0)] = leaks_when_new_;
  drive(cores, from, to);
  return {cores, rests_unseen(from, to)};
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

void Life::drive_and_bypass(Underway& unit, const Clock& from, const Clock& to) const {
  each_part(unit, from, to, [&](auto& at) { pieces_and_bypass(at, from, to); });
}

Belief Life::newborn() const {
  Belief belief;
  belief.at[core_of(0, 0, 0)][0] = 1 - leaks_when_new_;
  belief.at[core_of(1, 0, 0)][0] = leaks_when_new_;
  return belief;
}

void Life::renew_seal(Underway& unit) const {
  end(unit, Cause::seal_leak);
  const auto renew = [&](auto& at) {
    for (std::size_t core = 0; core < kLeaking; ++core) {
      auto whole = std::exchange(at[core], {});
      add(at[core], whole, 1 - leaks_when_new_);
      add(at[core + kLeaking], whole, leaks_when_new_);
    }
  };
  unit.apart ? renew(unit.cores) : renew(unit.rows);
}

namespace {

// What is worse than the best of `states` that stand `place` apart becomes the best.
void heal(Underway& unit, std::size_t place, std::size_t states) {
  unit.apart ? heal(unit.cores, place, states) : heal(unit.rows, place, states);
}

}  // namespace

void Life::end(Underway& unit, Cause cause) {
  switch (cause) {
    case Cause::seal_leak:
      heal(unit, core_of(1, 0, 0), kSealStates);
      return;
    case Cause::rotor_bearing_corrosion:
      heal(unit, core_of(0, 1, 0), kHarmStates);
      return;
    case Cause::insulation_loss:
      heal(unit, core_of(0, 0, 1), kHarmStates);
      return;
    default:
      break;
  }
  const auto b =
      static_cast<std::size_t>(std::ranges::find(kRestCauses, cause) - kRestCauses.begin());
  const auto heal_rest = [&](std::array<double, kRests>& row) {
    for (std::size_t r = 0; r < kRests; ++r) {
      if ((r >> b & 1U) != 0) {
        row[r & ~(std::size_t{1} << b)] += row[r];
        row[r] = 0;
      }
    }
  };
  if (unit.apart) {
    heal_rest(unit.rests);
  } else {
    std::ranges::for_each(unit.rows, heal_rest);
  }
}

Underway::Underway(const Belief& belief) {
  for (const auto& row : belief.at) {
    add(rests, row, 1);
  }
  for (std::size_t core = 0; core < kCores && apart; ++core) {
    for (const double x : belief.at[core]) {
      cores[core] += x;
    }
    for (std::size_t r = 0; r < kRests && apart; ++r) {
      constexpr double kNothing = 1e-15;
      apart = std::abs(belief.at[core][r] - cores[core] * rests[r]) <= kNothing;
    }
  }
  if (!apart) {
    rows = belief.at;
  }
}

void Underway::join() {
  if (!std::exchange(apart, false)) {
    return;
  }
  for (std::size_t core = 0; core < kCores; ++core) {
    rows[core] = {};
    add(rows[core], rests, cores[core]);
  }
}

Belief Underway::belief() const {
  if (!apart) {
    return {rows};
  }
  Underway joined = *this;
  joined.join();
  return {joined.rows};
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

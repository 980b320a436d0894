// How far the answer depends on judgement: the same case under models in each of which one value
// from memory is off by one deviation. Moves of log odds add up, as long as each is small beside
// all of them. Wear-out is an exponent, which next to certainty moves odds further one way than the
// other: it is moved both ways, and squares up and down are kept apart.
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <memory>
#include <numbers>
#include <numeric>
#include <optional>
#include <utility>

#include "base/index.hpp"
#include "base/odds.hpp"
#include "decide/assess.hpp"
#include "decide/grading.hpp"
#include "diagnose/ahead.hpp"

namespace dryshaft {
namespace {

constexpr std::size_t kNamed = 3;
// Of a normal distribution: one in twenty lies beyond on either side.
constexpr double kOneInTwenty = 1.6449;

// Where the value itself is judgement. A refitted value is still, as far as few teardowns have
// moved it.
bool is_judged(const Item& item) {
  return item.source.mark != SourceMark::published &&
         item.source.mark != SourceMark::common_practice;
}

// An unknown factor between 1/band and band, evenly on a logarithmic scale: the deviation of its
// logarithm.
double deviation(double band) { return std::log(band) / std::numbers::sqrt3; }

constexpr double kEdge = 1e-15;  // of certainty
double logit(double p) {
  const double q = std::clamp(p, kEdge, 1 - kEdge);
  return std::log(q) - std::log1p(-q);
}
double within_edges(double odds) {
  static const double most = -std::log(kEdge);
  return std::clamp(odds, -most, most);
}
double chance(double logit) { return 1 / (1 + std::exp(-logit)); }
double below(double deviations) { return std::erfc(-deviations / std::numbers::sqrt2) / 2; }

// So far ahead a prognosis looks.
std::vector<double> distances_ahead(const Knowledge& knowledge) {
  std::vector<double> distances = {5000, 10000, 20000};
  const double km_per_year = knowledge.settings.km_per_year;
  if (std::ranges::find(distances, km_per_year) == distances.end()) {
    distances.push_back(km_per_year);
  }
  std::ranges::sort(distances);
  return distances;
}

// Makes the models, one value moved in each.
class Mover {
 public:
  explicit Mover(const Knowledge& k)
      : moved_(k),
        distances_(distances_ahead(k)),
        by_(std::exp(deviation(k.settings.memory_band))),
        process_(coarse()),
        out_{{}, whole(process_), std::make_unique<const MovedUnseen>()} {}

  Judgements all() {
    process();
    looks();
    return std::move(out_);
  }

 private:
  [[nodiscard]] std::shared_ptr<const Life> coarse() const {
    constexpr double kStepKm = 512;
    constexpr unsigned kLongest = 6;
    return std::make_shared<const Life>(moved_, kStepKm, kLongest);
  }

  [[nodiscard]] Moved whole(const std::shared_ptr<const Life>& process) const {
    return {Model(moved_, process), Foresight(process, distances_, moved_.settings.km_per_year)};
  }

  template <typename Values>
  void shift(Values& values) const {
    for (double& p : values) {
      p = with_odds(p, by_);
    }
  }

  // Changes a part of the rules, makes the model, and puts it back.
  // `process`: it moves what happens between looks; else what the findings of a look say.
  template <typename Part, typename Change>
  void move(Part& part, std::string_view value, bool process, std::uint32_t findings,
            const Change& change) {
    if (!is_judged(part)) {
      return;
    }
    const Part kept = part;
    change(part);
    out_.values.push_back({part.id, value, process, findings, made(process), {}});
    part = kept;
  }
  [[nodiscard]] Moved made(bool process) const {
    return process ? whole(coarse()) : Moved{Model(moved_, process_), {}};
  }

  void wear(CauseRule& cause) {
    const Wear kept = *cause.wear;
    const auto scaled = [&](double hazard) {
      const double scale = std::pow(hazard, -1 / kept.shape);
      cause.wear->scale_km = kept.scale_km * scale;
      cause.wear->scale_years = kept.scale_years * scale;
    };
    const std::size_t before = out_.values.size();
    move(cause, "wear", true, kAll, [&](CauseRule&) { scaled(by_); });
    if (out_.values.size() > before) {
      scaled(1 / by_);
      out_.values.back().down = made(true);
      cause.wear = kept;
    }
  }

  void process() {
    for (CauseRule& c : moved_.causes) {
      move(c, "base", true, findings_of(c), [&](CauseRule& r) { shift(r.base); });
      if (c.wear) {
        wear(c);
      }
    }
    for (StageRule& s : moved_.stages) {
      move(s, "reaches", false, kAll, [&](StageRule& r) { r.reaches = with_odds(r.reaches, by_); });
      if (s.lasts_km > 0) {
        move(s, "lasts_km", true, kAll, [&](StageRule& r) { r.lasts_km *= by_; });
      }
    }
    for (HarmRule& h : moved_.harms) {
      move(h, "after_km", true, kAll, [&](HarmRule& r) {
        for (double& km : r.after_km) {
          km *= by_;
        }
      });
      move(h, "breakdown_km", true, kAll, [&](HarmRule& r) { r.breakdown_km *= by_; });
    }
    for (Setting& s : moved_.setting_items) {
      const bool unsaid = s.value == &Settings::broken_unsaid;
      if (!unsaid && s.value != &Settings::rest_km_per_day) {
        continue;
      }
      double& value = moved_.settings.*s.value;
      const double kept = value;
      value = unsaid ? with_odds(value, by_) : value * by_;
      move(s, "value", !unsaid, kAll, [](Setting&) {});
      value = kept;
    }
  }

  // What comes and goes without a leak shows in what is linked to it alone.
  [[nodiscard]] std::uint32_t findings_of(const CauseRule& c) const {
    const bool rest = std::ranges::find(kRestCauses, c.cause) != kRestCauses.end();
    std::uint32_t linked = 0;
    for (const Link& l : moved_.links) {
      linked |= l.cause == c.cause ? 1U << idx(l.finding) : 0U;
    }
    return rest ? linked : kAll;
  }

  // One factor for all levels, so that worse stays rarer.
  void looks() {
    const auto bit = [](Finding f) { return 1U << idx(f); };
    for (Link& l : moved_.links) {
      move(l, "shows", false, bit(l.finding), [&](Link& r) { shift(r.shows); });
    }
    for (Background& b : moved_.backgrounds) {
      move(b, "anyway", false, bit(b.finding), [&](Background& r) { shift(r.anyway); });
    }
    for (BrokenRule& b : moved_.broken) {
      move(b, "shows", false, bit(b.finding), [&](BrokenRule& r) { shift(r.shows); });
    }
  }

  static constexpr std::uint32_t kAll = ~0U;

  Knowledge moved_;
  std::vector<double> distances_;
  double by_;  // one deviation
  std::shared_ptr<const Life> process_;
  Judgements out_;
};

// Findings of all looks, as bits.
std::uint32_t seen_before(const Case& c) {
  std::uint32_t seen = 0;
  if (!c.course) {
    return seen;
  }
  for (const Leg& leg : c.course->legs) {
    for (std::size_t f = 0; f < kFindingCount; ++f) {
      seen |= leg.seen[f] >= 0 ? 1U << f : 0U;
    }
  }
  return seen;
}

}  // namespace

Judgements judged_values(const Knowledge& knowledge) { return Mover(knowledge).all(); }

namespace {

// Nodes lie closer where a unit is young: at the squares of whole numbers of these.
constexpr double kNodeKm = 2000;
constexpr double kNodeYears = 0.1;

// Of the node before a place, and the share of the next one.
struct Between {
  std::size_t node;
  double next;
};
Between between(double at, double unit, std::size_t nodes) {
  const auto last = static_cast<double>(nodes - 1);
  const double root = std::min(std::sqrt(std::max(0.0, at) / unit), last);
  const double node = std::min(std::floor(root), last - 1);
  const double low = node * node * unit;
  const double high = (node + 1) * (node + 1) * unit;
  return {static_cast<std::size_t>(node), std::clamp((at - low) / (high - low), 0.0, 1.0)};
}

}  // namespace

const std::vector<Cores>& MovedUnseen::node(const Judgements& judged, std::size_t cooling,
                                            std::size_t km, std::size_t years) const {
  Node& node = nodes_.at(cooling).at(km).at(years);
  std::call_once(node.once, [&] {
    const auto square = [](std::size_t n) {
      constexpr double kNearNothing = 0.1;  // where nothing has come yet, there is no ratio
      return std::pow(std::max(static_cast<double>(n), kNearNothing), 2);
    };
    Case c = empty_case();
    c.set(Situation::rotor_cooling, static_cast<Cooling>(cooling));
    c.seal_km = square(km) * kNodeKm;
    c.seal_years = square(years) * kNodeYears;
    const Cores from = cores_of(judged.coarse.model.prior(c).belief);
    const auto add = [&](const Moved& moved) {
      Cores& ratio = node.ratios.emplace_back(cores_of(moved.model.prior(c).belief));
      for (std::size_t core = 0; core < kCores; ++core) {
        ratio[core] = from[core] > 0 ? ratio[core] / from[core] : 1;
      }
    };
    for (const JudgedValue& j : judged.values) {
      if (j.of_process) {
        add(j.up);
        if (j.down) {
          add(*j.down);
        }
      }
    }
  });
  return node.ratios;
}

std::vector<Cores> MovedUnseen::at(const Judgements& judged, const Case& c) const {
  const auto cooling = static_cast<std::size_t>(c.at(Situation::rotor_cooling));
  const Between km = between(c.seal_km, kNodeKm, kNodes);
  const Between years = between(c.seal_years, kNodeYears, kNodes);
  std::vector<Cores> out;
  for (std::size_t i = 0; i < 2; ++i) {
    for (std::size_t j = 0; j < 2; ++j) {
      const double share = (i > 0 ? km.next : 1 - km.next) * (j > 0 ? years.next : 1 - years.next);
      const std::vector<Cores>& ratios = node(judged, cooling, km.node + i, years.node + j);
      out.resize(ratios.size());
      for (std::size_t n = 0; n < ratios.size(); ++n) {
        for (std::size_t core = 0; core < kCores; ++core) {
          out[n][core] += share * ratios[n][core];
        }
      }
    }
  }
  return out;
}

namespace {

// Squares of moves of log odds, up and down apart.
struct Spread {
  double up = 0;
  double down = 0;
  // One value, moved both ways.
  void add(double one, double other) {
    up += std::pow(std::max({one, other, 0.0}), 2);
    down += std::pow(std::min({one, other, 0.0}), 2);
  }
  [[nodiscard]] double low(double odds) const {
    return chance(odds - kOneInTwenty * std::sqrt(down));
  }
  [[nodiscard]] double high(double odds) const {
    return chance(odds + kOneInTwenty * std::sqrt(up));
  }
};

// A case by one model, in log odds.
struct Answer {
  double risk = 0;
  double graded_risk = 0;
  std::vector<Ahead::Chance> ahead;
};

struct Widths {
  Spread damage;
  Spread breakdown;
};

}  // namespace

std::vector<Prognosis> prognosis(const Knowledge& knowledge, const Model& model, const Case& c,
                                 const Posterior& posterior) {
  const double km_per_year = knowledge.settings.km_per_year;
  std::vector<Prognosis> rows;
  const std::vector<double> distances = distances_ahead(knowledge);
  for (const double km : distances) {
    Prognosis& row = rows.emplace_back();
    row.km = km;
    row.days = std::round(km / km_per_year * kDaysPerYear);
  }
  const std::vector<Ahead::Chance> chances =
      Ahead(model.life(), posterior.belief, clock_of(c), km_per_year).within_each(distances);
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const auto known = [](double p) { return Foreseen{p, p, p}; };
    rows[i].damage = known(chances[i].damage);
    rows[i].breakdown = known(chances[i].breakdown);
  }
  return rows;
}

namespace {

// A belief by core and by rest, of units with damage and of sound ones.
struct Weighed {
  Weighed(const Model& model, const Belief& belief) {
    for (std::size_t core = 0; core < kCores; ++core) {
      const std::size_t seal = core / kTight;
      const std::size_t corrosion = core / kHarmStates % kHarmStates;
      for (std::size_t r = 0; r < kRests; ++r) {
        const unsigned state = causes_in(seal, corrosion, core % kHarmStates, r);
        const bool damage = (model.damaging_states() >> state & 1U) != 0;
        (damage ? damaged : sound)[core] += belief.at[core][r];
        (damage ? rest_damaged : rest_sound)[r] += belief.at[core][r];
      }
    }
  }
  // Log odds of damage where each core, or each rest, is so much likelier.
  [[nodiscard]] double odds(const Cores& ratio) const { return log_odds(damaged, sound, ratio); }
  [[nodiscard]] double odds(const std::array<double, kRests>& ratio) const {
    return log_odds(rest_damaged, rest_sound, ratio);
  }
  template <typename Row>
  static double log_odds(const Row& with, const Row& without, const Row& ratio) {
    const double one = std::inner_product(with.begin(), with.end(), ratio.begin(), 0.0);
    const double other = std::inner_product(without.begin(), without.end(), ratio.begin(), 0.0);
    return within_edges(std::log(one / other));
  }
  Cores damaged{};
  Cores sound{};
  std::array<double, kRests> rest_damaged{};
  std::array<double, kRests> rest_sound{};
};

// One case by models that differ in one value.
class Asker {
 public:
  Asker(const Model& model, const Judgements& judged, const Case& c, const Prior& prior, bool ahead)
      : model_(model),
        judged_(judged),
        c_(c),
        prior_(prior),
        now_(clock_of(c)),
        wants_ahead_(ahead),
        cores_(cores_of(model.believed(c, prior, false))) {
    // What an opening showed of the seal stands in what was believed before.
    const std::uint32_t opened =
        c.at(Finding::opened_seal_leak) >= 0 ? 1U << idx(Finding::opened_seal_leak) : 0U;
    before_ = seen_before(c) | opened;
    seen_ = model.evidence_in(c) | before_;
    const Risks risks = model.risks(c, prior);
    fine_ = {within_edges(risks.odds), within_edges(risks.graded_odds),
             ahead_of(judged.coarse, cores_)};
    if (before_ != 0 || c.course) {
      coarse_ = by(judged.coarse, judged.coarse.model.prior(c), nullptr);
    }
    if (!c.course) {
      all_.emplace(model, model.believed(c, prior, false));
      graded_.emplace(model, model.believed(c, prior, true));
      ratios_ = judged.unseen->at(judged, c);
    }
  }

  [[nodiscard]] bool bears(const JudgedValue& j) const {
    return j.findings == ~0U || (j.findings & seen_) != 0;
  }
  // As the rules stand, where answers by moved models compare with that.
  [[nodiscard]] const Answer& from(const JudgedValue& j) const {
    return replays(j) ? coarse_ : fine_;
  }
  // `place`: in the list of `MovedUnseen`.
  [[nodiscard]] Answer ask(const JudgedValue& j, const Moved& moved, std::size_t place) const {
    if (replays(j)) {
      return by(moved, moved.model.prior(c_), &j);
    }
    if (j.of_process) {
      return j.findings == ~0U ? unseen(moved, ratios_[place]) : unseen_rests(moved);
    }
    if (moved.model.same_tip(model_)) {
      return by(moved, prior_, &j);
    }
    Prior own;
    own.belief = prior_.belief;
    moved.model.collapse(own);
    return by(moved, own, &j);
  }

 private:
  // Whether the value bears on what was believed before the newest look, and that must be gone
  // through anew.
  [[nodiscard]] bool replays(const JudgedValue& j) const {
    return j.of_process ? c_.course != nullptr : (j.findings & before_) != 0;
  }
  [[nodiscard]] std::vector<Ahead::Chance> ahead_of(const Moved& moved, const Cores& cores) const {
    const std::optional<Foresight>& own = moved.ahead ? moved.ahead : judged_.coarse.ahead;
    return wants_ahead_ ? own->within_each(cores, now_) : std::vector<Ahead::Chance>();
  }
  [[nodiscard]] Answer by(const Moved& moved, const Prior& prior, const JudgedValue* j) const {
    const Risks risks = moved.model.risks(c_, prior);
    Answer out{within_edges(risks.odds), within_edges(risks.graded_odds), {}};
    // What a look says moves what is to come by what it moves of today, or less.
    constexpr double kLeastNats = 0.1;
    if (wants_ahead_ &&
        (j == nullptr || j->of_process || std::abs(out.risk - from(*j).risk) >= kLeastNats)) {
      out.ahead = ahead_of(moved, cores_of(moved.model.believed(c_, prior, false)));
    }
    return out;
  }
  [[nodiscard]] Answer unseen(const Moved& moved, const Cores& ratio) const {
    Cores cores = cores_;
    for (std::size_t core = 0; core < kCores; ++core) {
      cores[core] *= ratio[core];
    }
    return {all_->odds(ratio), graded_->odds(ratio), ahead_of(moved, cores)};
  }
  // The rests go their own way.
  [[nodiscard]] Answer unseen_rests(const Moved& moved) const {
    const std::array<double, kRests> as_it_stands = model_.life().rests_unseen({}, now_);
    std::array<double, kRests> ratio = moved.model.life().rests_unseen({}, now_);
    for (std::size_t r = 0; r < kRests; ++r) {
      ratio[r] = as_it_stands[r] > 0 ? ratio[r] / as_it_stands[r] : 1;
    }
    return {all_->odds(ratio), graded_->odds(ratio), fine_.ahead};
  }

  const Model& model_;
  const Judgements& judged_;
  const Case& c_;
  const Prior& prior_;
  Clock now_;
  bool wants_ahead_;
  Cores cores_;
  std::uint32_t before_ = 0;  // findings of all looks before, as bits
  std::uint32_t seen_ = 0;
  Answer fine_;
  Answer coarse_;
  std::optional<Weighed> all_;
  std::optional<Weighed> graded_;
  std::vector<Cores> ratios_;
};

// Moves of odds ahead add to their squares.
void add(std::vector<Widths>& widths, const Answer& from, const Answer& up,
         const std::optional<Answer>& down) {
  const Ahead::Chance* const back = down ? down->ahead.data() : nullptr;
  for (std::size_t i = 0; i < up.ahead.size(); ++i) {
    const auto moves = [&](Spread& spread, double Ahead::Chance::*of) {
      const double stands = logit(from.ahead[i].*of);
      const double one = logit(up.ahead[i].*of) - stands;
      spread.add(one, back != nullptr ? logit(back[i].*of) - stands : -one);
    };
    moves(widths[i].damage, &Ahead::Chance::damage);
    moves(widths[i].breakdown, &Ahead::Chance::breakdown);
  }
}

void put(const std::vector<Widths>& widths, std::vector<Prognosis>& rows) {
  const auto range = [](Foreseen& f, const Spread& spread) {
    f.low = spread.low(logit(f.probability));
    f.high = spread.high(logit(f.probability));
  };
  for (std::size_t i = 0; i < rows.size(); ++i) {
    range(rows[i].damage, widths[i].damage);
    range(rows[i].breakdown, widths[i].breakdown);
  }
}

}  // namespace

HowSure how_sure(const Knowledge& knowledge, const Model& model, const Judgements& judged,
                 const Case& c, const Prior& prior, const Verdict& verdict,
                 std::vector<Prognosis>* ahead) {
  const Settings& s = knowledge.settings;
  HowSure sure;
  sure.odds_factor = s.memory_band;
  sure.values = judged.values.size();
  const double graded = logit(verdict.posterior.graded_risk);
  const Asker asker(model, judged, c, prior, ahead != nullptr);
  Spread spread;
  Spread graded_spread;
  std::vector<Widths> widths(ahead != nullptr ? ahead->size() : 0);
  std::size_t place = 0;
  for (const JudgedValue& j : judged.values) {
    const std::size_t here =
        std::exchange(place, place + (j.of_process ? 1 + (j.down ? 1 : 0) : 0));
    if (!asker.bears(j)) {
      continue;
    }
    const Answer& from = asker.from(j);
    const Answer up = asker.ask(j, j.up, here);
    const std::optional<Answer> down =
        j.down ? std::optional(asker.ask(j, *j.down, here + 1)) : std::nullopt;
    const auto moves = [&](Spread& all, double Answer::*of) {
      const double one = up.*of - from.*of;
      all.add(one, down ? (*down).*of - from.*of : -one);
      return one;
    };
    const double by = moves(spread, &Answer::risk);
    moves(graded_spread, &Answer::graded_risk);
    constexpr double kDecibansPerNat = 10 / std::numbers::ln10;
    sure.rests_on.push_back({j.rule, j.value, by * kDecibansPerNat});
    add(widths, from, up, down);
  }
  if (ahead != nullptr) {
    put(widths, *ahead);
  }
  // As float: what differs by rounding alone is equal.
  std::ranges::stable_sort(sure.rests_on, std::greater{}, [](const RestsOn& r) {
    return static_cast<float>(std::abs(r.decibans));
  });
  sure.rests_on.resize(std::min(sure.rests_on.size(), kNamed));
  const double risk = logit(verdict.posterior.risk);
  sure.risk_low = spread.low(risk);
  sure.risk_high = spread.high(risk);
  // The bounds of the bands are judgement as well.
  const auto beyond = [&](double bound) {
    const double apart = graded - logit(bound);
    double all = apart < 0 ? graded_spread.up : graded_spread.down;
    for (const Setting& setting : knowledge.setting_items) {
      const bool this_one = s.*setting.value == bound && (setting.value == &Settings::risk_raised ||
                                                          setting.value == &Settings::risk_high);
      all += this_one && is_judged(setting) ? std::pow(deviation(s.memory_band), 2) : 0;
    }
    return all > 0 ? below(apart / std::sqrt(all)) : (apart >= 0 ? 1.0 : 0.0);
  };
  const double raised = beyond(s.risk_raised);
  const double high = std::min(raised, beyond(s.risk_high));
  const std::pair<double, double> bands[] = {
      {0, 1 - raised}, {s.risk_raised, raised - high}, {s.risk_high, high}};
  std::array<double, kGradeCount> grades{};
  for (const auto& [of, share] : bands) {
    grades.at(idx(grade_of(knowledge, model.grading(), c, of, verdict.posterior.cause))) += share;
  }
  sure.grade_holds = grades.at(idx(verdict.grade));
  constexpr double kWorthNaming = 0.05;
  for (std::size_t g = 0; g < kGradeCount; ++g) {
    if (grades.at(g) >= kWorthNaming || static_cast<Grade>(g) == verdict.grade) {
      sure.grades.push_back(static_cast<Grade>(g));
    }
  }
  return sure;
}

}  // namespace dryshaft

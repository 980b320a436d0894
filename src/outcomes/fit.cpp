// Link strengths refitted to openings, by expectation and maximisation.
#include "outcomes/fit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/special_functions/gamma.hpp>
#include <charconv>
#include <cmath>

#include "base/index.hpp"
#include "diagnose/model.hpp"

namespace dryshaft {
namespace {

using outcomes::shown_by_opening;
using Values = std::array<double, kMaxLevels>;

// A fitted chance keeps this far from 0 and 1: nothing is certain.
constexpr double kLeastChance = 1e-5;
// Sources of one finding at most: its background and a link to each cause.
constexpr std::size_t kMostSources = kCauseCount + 1;

// Seven digits: what an overlay shows.
double shortened(double value) {
  const std::string text = fmt::format("{:.7g}", value);
  double out = value;
  std::from_chars(text.data(), text.data() + text.size(), out);
  return out;
}

// What can bring a finding to a level: the background, or a cause.
struct FitSource {
  bool background = false;
  std::size_t rule = 0;  // in `Knowledge::links` or `backgrounds`
  Cause cause = Cause::seal_leak;
  Values shipped{};  // level l or worse
  // Of level l given level l or better, from l = 1 on.
  Values first{};    // shipped
  Values weight{};   // of that judgement, in pseudo-observations
  Values step{};     // as fitted so far
  Values reached{};  // expected number of times at level l or worse
  std::size_t teardowns = 0;
  double band = 1;  // odds factor by which the shipped values may be off
};

// Pseudo-observations that make the log odds of `p` as uncertain as the band says:
// evenly spread on a logarithmic scale between 1/band and band, so with variance
// ln(band)^2 / 3, where those of a Beta distribution have about 1 / (n p (1 - p)).
double weight_of(double p, double band) {
  constexpr double kMost = 1e9;
  const double log_band = std::log(band);
  return std::min(kMost, 3 / (log_band * log_band * p * (1 - p)));
}

// Log of the chance of `hits` in `trials`, were the true chance drawn from the Beta distribution
// around `p` that has `weight` (the beta-binomial distribution, without what depends on the counts
// alone). Counts need not be whole.
double log_marginal(double hits, double trials, double p, double weight) {
  const auto log_beta = [](double a, double b) {
    return boost::math::lgamma(a) + boost::math::lgamma(b) - boost::math::lgamma(a + b);
  };
  const double a = weight * p;
  const double b = weight * (1 - p);
  return log_beta(a + hits, b + trials - hits) - log_beta(a, b);
}

// A worse level is a matter of its own: that sound units gather more fine debris
// says nothing of chips. So chances are taken from the worst level down, each
// given that it is no worse.
Values chances(const Values& at_least, std::size_t levels) {
  Values step{};
  for (std::size_t l = 1; l < levels; ++l) {
    const double worse = l + 1 < levels ? at_least[l + 1] : 0;
    step[l] = (at_least[l] - worse) / (1 - worse);
  }
  return step;
}

Values at_least(const Values& step, std::size_t levels) {
  Values values{};
  double worse = 0;
  for (std::size_t l = levels - 1; l > 0; --l) {
    worse += step[l] * (1 - worse);
    values[l] = worse;
  }
  values[0] = 1;
  return values;
}

// Whether rule data may hold these values, and an overlay with them loads. Several levels that are
// each next to certain are nearer to it together than any of them may be.
bool allowed(const Values& values, std::size_t levels) {
  constexpr double kLeast = 2 * kLeastProbability;  // seven digits are rounded by less
  for (std::size_t l = 1; l < levels; ++l) {
    if (!(values[l] >= kLeast) || !(values[l - 1] - values[l] >= kLeast)) {
      return false;
    }
  }
  return true;
}

// A finding, and all that can bring it about.
class FitBlock {
 public:
  FitBlock(const FindingSpec& finding, std::vector<FitSource> sources)
      : f_(finding), levels_(finding.levels.size()), sources_(std::move(sources)) {
    for (FitSource& s : sources_) {
      s.first = chances(s.shipped, levels_);
      s.step = s.first;
      linked_ |= s.background ? 0U : 1U << idx(s.cause);
    }
    tables();
    kept_in_order_ = f_.ordered && in_order();
  }

  [[nodiscard]] const FindingSpec& finding() const { return f_; }
  [[nodiscard]] std::vector<FitSource>& sources() { return sources_; }
  [[nodiscard]] const std::vector<FitSource>& sources() const { return sources_; }
  [[nodiscard]] unsigned linked() const { return linked_; }
  [[nodiscard]] bool held_back() const { return held_back_; }
  [[nodiscard]] double likelihood(std::size_t level, std::size_t state) const {
    return like_[level][state & linked_];
  }

  void forget_counts() {
    for (auto& of_level : seen_) {
      of_level.fill(0);
    }
  }
  void see(std::size_t level, std::size_t state, double weight) {
    seen_[level][state & linked_] += weight;
  }

  // Log of the prior's density over what it is at the shipped values.
  [[nodiscard]] double prior() const {
    double sum = 0;
    for (const FitSource& s : sources_) {
      for (std::size_t l = 1; l < levels_; ++l) {
        sum +=
            s.weight[l] * (s.first[l] * std::log(s.step[l] / s.first[l]) +
                           (1 - s.first[l]) * (std::log1p(-s.step[l]) - std::log1p(-s.first[l])));
      }
    }
    return sum;
  }

  // Chances of each source's levels, given what was seen; then the best values
  // for them, or as far on the way there as the order of the levels allows.
  void maximise() {
    expect();
    std::vector<Values> from;
    std::vector<Values> to;
    for (const FitSource& s : sources_) {
      from.push_back(s.step);
      Values& target = to.emplace_back(s.step);
      for (std::size_t l = 1; l < levels_; ++l) {
        const double worse = l + 1 < levels_ ? s.reached[l + 1] : 0;
        const double trials = s.weight[l] + s.reached[0] - worse;
        target[l] =
            std::clamp((s.weight[l] * s.first[l] + s.reached[l] - worse) / trials,
                       std::min(kLeastChance, s.first[l]), std::max(1 - kLeastChance, s.first[l]));
      }
      // As much of the way as rule data allow: any part of it raises the expected likelihood.
      constexpr int kMostHalvings = 60;
      for (int i = 0; !allowed(at_least(target, levels_), levels_); ++i) {
        for (std::size_t l = 1; l < levels_; ++l) {
          target[l] = i < kMostHalvings ? (s.step[l] + target[l]) / 2 : s.step[l];
        }
        if (i == kMostHalvings) {
          break;
        }
      }
    }
    held_back_ = false;
    move_all(from, to, 1);
    if (!kept_in_order_ || in_order()) {
      return;
    }
    // The expected likelihood is a sum over sources, each concave in its values:
    // it rises when any of them goes any part of its way.
    held_back_ = true;
    move_all(from, to, 0);
    for (std::size_t i = 0; i < sources_.size(); ++i) {
      constexpr double kShortest = 1.0 / 1024;
      for (double share = 1; share >= kShortest; share /= 2) {
        move(i, from[i], to[i], share);
        if (in_order()) {
          break;
        }
        move(i, from[i], to[i], 0);
      }
    }
  }

  // Bands by what was counted (empirical Bayes): that of the setting, or the power of it that makes
  // the counts of a source likelier by `kLeastGain` nats. Starts anew from the shipped values.
  void choose_bands(double band) {
    constexpr double kLeastGain = 3;  // odds of 20 to 1 [judgement]
    expect();
    for (FitSource& s : sources_) {
      const auto marginal = [&](double of) {
        double sum = 0;
        for (std::size_t l = 1; l < levels_; ++l) {
          const double worse = l + 1 < levels_ ? s.reached[l + 1] : 0;
          sum += log_marginal(s.reached[l] - worse, s.reached[0] - worse, s.first[l],
                              weight_of(s.first[l], of));
        }
        return sum;
      };
      double best = band;
      double most = marginal(band) + kLeastGain;
      for (int power = 2; power <= kWidest; ++power) {
        const double of = std::pow(band, power);
        if (const double now = marginal(of); now > most) {
          best = of;
          most = now;
        }
      }
      trust(s, best);
    }
    for (FitSource& s : sources_) {
      s.step = s.first;
    }
    tables();
  }
  // As if nothing were sure.
  void doubt(double band) {
    for (FitSource& s : sources_) {
      trust(s, std::pow(band, kWidest));
    }
  }

  // Rounded to what an overlay shows, unless that would put levels out of order.
  void round() {
    std::vector<Values> exact;
    bool good = true;
    for (FitSource& s : sources_) {
      exact.push_back(s.step);
      if (s.teardowns == 0) {
        continue;
      }
      Values values = at_least(s.step, levels_);
      for (double& v : values) {
        v = shortened(v);
      }
      good = good && allowed(values, levels_);
      s.step = good ? chances(values, levels_) : s.step;
    }
    tables();
    if (!good || (kept_in_order_ && !in_order())) {
      for (std::size_t i = 0; i < sources_.size(); ++i) {
        sources_[i].step = exact[i];
      }
      tables();
    }
  }

 private:
  static constexpr int kWidest = 4;  // power of the band

  void trust(FitSource& s, double band) const {
    s.band = band;
    for (std::size_t l = 1; l < levels_; ++l) {
      s.weight[l] = weight_of(s.first[l], band);
    }
  }

  void move(std::size_t source, const Values& from, const Values& to, double share) {
    for (std::size_t l = 1; l < levels_; ++l) {
      sources_[source].step[l] = from[l] + share * (to[l] - from[l]);
    }
    tables();
  }
  void move_all(const std::vector<Values>& from, const std::vector<Values>& to, double share) {
    for (std::size_t i = 0; i < sources_.size(); ++i) {
      for (std::size_t l = 1; l < levels_; ++l) {
        sources_[i].step[l] = from[i][l] + share * (to[i][l] - from[i][l]);
      }
    }
    tables();
  }

  template <typename Visit>
  void each_state(const Visit& visit) const {
    for (std::size_t s = 0; s < kStateCount; ++s) {
      if ((s & ~static_cast<std::size_t>(linked_)) == 0) {
        visit(s);
      }
    }
  }
  [[nodiscard]] static bool active(const FitSource& s, std::size_t state) {
    return s.background || (state >> idx(s.cause) & 1U) != 0;
  }

  void tables() {
    for (std::size_t i = 0; i < sources_.size(); ++i) {
      const Values values = at_least(sources_[i].step, levels_);
      for (std::size_t l = 0; l < levels_; ++l) {
        up_to_[i][l] = l + 1 < levels_ ? 1 - values[l + 1] : 1;  // this level or better
      }
    }
    each_state([this](std::size_t s) {
      double below = 0;
      for (std::size_t l = 0; l < levels_; ++l) {
        double all = 1;
        for (std::size_t i = 0; i < sources_.size(); ++i) {
          all *= active(sources_[i], s) ? up_to_[i][l] : 1;
        }
        like_[l][s] = all - below;
        below = all;
      }
    });
  }

  // As `prove` demands of ordered findings: likelihood ratios against the empty
  // state rise from level to level.
  [[nodiscard]] bool in_order() const {
    constexpr double kSlack = 1e-11;  // for ratios that are equal but for rounding
    const auto falls = [](double from, double to) { return to < from * (1 - kSlack); };
    bool good = true;
    each_state([&](std::size_t s) {
      for (std::size_t h = 1; h < levels_; ++h) {
        for (std::size_t l = 0; l < h; ++l) {
          good = good && !falls(like_[l][s] * like_[h][0], like_[h][s] * like_[l][0]);
        }
      }
    });
    return good;
  }

  void expect() {
    for (FitSource& s : sources_) {
      s.reached = {};
    }
    each_state([this](std::size_t s) {
      for (std::size_t l = 0; l < levels_; ++l) {
        if (seen_[l][s] > 0) {
          expect(s, l, seen_[l][s] / like_[l][s]);
        }
      }
    });
  }

  // The worst of all sources was `level`. A source that stayed below left it to the
  // others; one that reached it may have had company.
  void expect(std::size_t state, std::size_t level, double weight) {
    for (std::size_t i = 0; i < sources_.size(); ++i) {
      FitSource& s = sources_[i];
      if (!active(s, state)) {
        continue;
      }
      double others = 1;                        // at this level or better
      double others_below = level > 0 ? 1 : 0;  // better
      for (std::size_t j = 0; j < sources_.size(); ++j) {
        if (j != i && active(sources_[j], state)) {
          others *= up_to_[j][level];
          others_below *= level > 0 ? up_to_[j][level - 1] : 0;
        }
      }
      const auto chance = [&](std::size_t l) {
        return up_to_[i][l] - (l > 0 ? up_to_[i][l - 1] : 0);
      };
      for (std::size_t l = 0; l <= level; ++l) {
        const double share = chance(l) * (l < level ? others - others_below : others);
        for (std::size_t or_better = 0; or_better <= l; ++or_better) {
          s.reached[or_better] += weight * share;
        }
      }
    }
  }

  const FindingSpec& f_;
  std::size_t levels_;
  std::vector<FitSource> sources_;
  unsigned linked_ = 0;
  bool kept_in_order_ = false;
  bool held_back_ = false;
  std::array<Values, kMostSources> up_to_{};
  std::array<std::array<double, kStateCount>, kMaxLevels> like_{};
  std::array<std::array<double, kStateCount>, kMaxLevels> seen_{};
};

// One opening: the states as a look sees them that it leaves, each with its chance before any
// finding that is fitted, and what was seen.
struct FitUnit {
  struct Possible {
    std::size_t state;
    std::uint32_t broken;  // findings that show a breakdown, and tell nothing of a link
    double prior;
  };
  struct Seen {
    Finding finding;
    std::size_t block;
    std::size_t level;
    [[nodiscard]] bool tells(const Possible& p) const {
      return (p.broken >> idx(finding) & 1U) == 0;
    }
  };
  std::vector<Possible> possible;
  std::vector<Seen> seen;
};

class Fitter {
 public:
  Fitter(std::span<const Opening> openings, const Knowledge& k, const FitOptions& options)
      : k_(k), options_(options), model_(k) {
    for (std::size_t b = 0; b < k.backgrounds.size(); ++b) {
      const Background& background = k.backgrounds[b];
      if (!shown_by_opening(background.finding)) {
        block_of_[idx(background.finding)] = static_cast<int>(blocks_.size());
        blocks_.emplace_back(spec(background.finding), sources_of(b));
      }
    }
    for (const Opening& o : openings) {
      add(o);
    }
  }

  OutcomeFit fit() {
    OutcomeFit out;
    if (units_.empty()) {
      return out;
    }
    if (!options_.prior_weight) {
      // What the teardowns say by themselves tells how far the judgement may be off.
      for (FitBlock& b : blocks_) {
        b.doubt(k_.settings.memory_band);
      }
      constexpr int kSteps = 60;
      constexpr double kNats = 1e-3;  // enough to choose by
      climb(out, std::min(kSteps, options_.most_steps), kNats);
      for (FitBlock& b : blocks_) {
        b.choose_bands(k_.settings.memory_band);
      }
    }
    climb(out, options_.most_steps, options_.tolerance);
    report(out);
    return out;
  }

 private:
  void climb(OutcomeFit& out, int most_steps, double tolerance) {
    out.status = ClimbStatus::stopped;
    out.climb = {expect()};
    for (int step = 0; step < most_steps && out.status == ClimbStatus::stopped; ++step) {
      for (FitBlock& b : blocks_) {
        b.maximise();
      }
      out.climb.push_back(expect());
      if (out.climb.back() - out.climb[out.climb.size() - 2] < tolerance) {
        out.status = ClimbStatus::converged;
      }
    }
  }

  std::vector<FitSource> sources_of(std::size_t background) {
    std::vector<FitSource> sources;
    const Background& b = k_.backgrounds[background];
    sources.push_back({.background = true, .rule = background, .shipped = b.anyway});
    for (std::size_t l = 0; l < k_.links.size(); ++l) {
      const Link& link = k_.links[l];
      if (link.finding == b.finding) {
        sources.push_back({.rule = l, .cause = link.cause, .shipped = link.shows});
      }
    }
    const std::size_t levels = spec(b.finding).levels.size();
    for (FitSource& s : sources) {
      s.band = k_.settings.memory_band;
      const Values first = chances(s.shipped, levels);
      for (std::size_t l = 1; l < levels; ++l) {
        s.weight[l] = options_.prior_weight.value_or(weight_of(first[l], s.band));
      }
    }
    return sources;
  }

  void add(const Opening& o) {
    FitUnit unit;
    const std::uint32_t evidence = model_.evidence_in(o.facts);
    const Prior prior = model_.prior(o.facts);
    const auto hidden = model_.hidden_leaks(prior);
    const auto unsaid = model_.unsaid(o.facts.level);
    double sum = 0;
    for (std::size_t d = 0; d < kBreakdowns; ++d) {
      for (std::size_t s = 0; s < kStateCount; ++s) {
        FitUnit::Possible p{s, shown_broken(d) & evidence, prior.state[d][s] * unsaid[d]};
        p.prior *= left_by(o, s, hidden[d][s]);
        for (const FindingSpec& f : findings()) {
          const bool seen = (evidence >> idx(f.id) & 1U) != 0;
          const bool broken = (p.broken >> idx(f.id) & 1U) != 0;
          if (seen && (broken || shown_by_opening(f.id))) {  // the latter at an earlier opening
            const int level = o.facts.at(f.id);
            p.prior *= model_.likelihood(f.id, level)[s] * model_.broken(f.id, level)[d];
          }
        }
        if (p.prior > 0) {
          unit.possible.push_back(p);
          sum += p.prior;
        }
      }
    }
    if (!(sum > 0)) {
      return;  // the rules hold it to be impossible: nothing can be learnt from it
    }
    for (FitUnit::Possible& p : unit.possible) {
      p.prior /= sum;
    }
    const unsigned absent = o.examined & ~o.found;
    for (const FindingSpec& f : findings()) {
      const int block = block_of_[idx(f.id)];
      if ((evidence >> idx(f.id) & 1U) == 0 || block < 0) {
        continue;
      }
      FitBlock& b = blocks_[static_cast<std::size_t>(block)];
      unit.seen.push_back(
          {f.id, static_cast<std::size_t>(block), static_cast<std::size_t>(o.facts.at(f.id))});
      for (FitSource& s : b.sources()) {
        s.teardowns += s.background || (absent >> idx(s.cause) & 1U) == 0 ? 1 : 0;
      }
    }
    units_.push_back(std::move(unit));
  }

  // Findings that show a breakdown of this kind.
  [[nodiscard]] std::uint32_t shown_broken(std::size_t breakdown) const {
    std::uint32_t shown = 0;
    for (const BrokenRule& rule : k_.broken) {
      const std::size_t harm = rule.cause == kHarms[0] ? 0 : 1;
      shown |= (breakdown >> harm & 1U) != 0 ? 1U << idx(rule.finding) : 0U;
    }
    return shown;
  }

  // The part of a state that an opening leaves possible, of whose seals so many leak unseen.
  static double left_by(const Opening& o, std::size_t state, double hidden) {
    constexpr std::size_t kLeak = std::size_t{1} << idx(Cause::seal_leak);
    const std::size_t others = o.examined & ~kLeak;
    if ((state & others) != (o.found & others)) {
      return 0;
    }
    const double leaks = (state & kLeak) != 0 ? 1 : hidden;
    return (o.examined & kLeak) == 0 ? 1 : (o.found & kLeak) != 0 ? leaks : 1 - leaks;
  }

  // Counts what was seen in each state, by how probable the states now are; returns
  // the penalised log likelihood.
  double expect() {
    double log_likelihood = 0;
    for (FitBlock& b : blocks_) {
      b.forget_counts();
      log_likelihood += b.prior();
    }
    std::vector<double> chance;
    for (const FitUnit& u : units_) {
      chance.clear();
      double sum = 0;
      for (const FitUnit::Possible& p : u.possible) {
        double here = p.prior;
        for (const FitUnit::Seen& seen : u.seen) {
          here *= seen.tells(p) ? blocks_[seen.block].likelihood(seen.level, p.state) : 1;
        }
        chance.push_back(here);
        sum += here;
      }
      log_likelihood += std::log(sum);
      for (std::size_t i = 0; i < u.possible.size(); ++i) {
        for (const FitUnit::Seen& seen : u.seen) {
          if (seen.tells(u.possible[i])) {
            blocks_[seen.block].see(seen.level, u.possible[i].state, chance[i] / sum);
          }
        }
      }
    }
    return log_likelihood;
  }

  void report(OutcomeFit& out) {
    std::vector<FittedRule> backgrounds;
    for (FitBlock& b : blocks_) {
      b.round();
      if (b.held_back()) {
        out.held_back.emplace_back(b.finding().name);
      }
      for (const FitSource& s : b.sources()) {
        if (s.teardowns == 0) {
          continue;
        }
        FittedRule rule;
        rule.id = s.background ? k_.backgrounds[s.rule].id : k_.links[s.rule].id;
        rule.background = s.background;
        rule.finding = b.finding().id;
        rule.cause = s.cause;
        rule.shipped = s.shipped;
        const Values values = at_least(s.step, b.finding().levels.size());
        for (std::size_t l = 0; l < b.finding().levels.size(); ++l) {
          const double rounded = shortened(values[l]);
          // Rounding has been tried; what it did not survive stays as it is.
          constexpr double kSame = 1e-12;
          rule.fitted[l] = std::abs(rounded - values[l]) <= kSame * values[l] ? rounded : values[l];
        }
        rule.teardowns = s.teardowns;
        rule.band = s.band;
        (s.background ? backgrounds : out.rules).push_back(std::move(rule));
      }
    }
    std::ranges::move(backgrounds, std::back_inserter(out.rules));
  }

  const Knowledge& k_;
  const FitOptions& options_;
  Model model_;
  std::vector<FitBlock> blocks_;
  std::array<int, kFindingCount> block_of_ = [] {
    std::array<int, kFindingCount> none{};
    none.fill(-1);
    return none;
  }();
  std::vector<FitUnit> units_;
};

}  // namespace

std::string_view name(ClimbStatus status) {
  switch (status) {
    case ClimbStatus::no_data:
      return "no-data";
    case ClimbStatus::converged:
      return "converged";
    case ClimbStatus::stopped:
      break;
  }
  return "stopped";
}

OutcomeFit fit_outcomes(std::span<const Opening> openings, const Knowledge& knowledge,
                        const FitOptions& options) {
  return Fitter(openings, knowledge, options).fit();
}

Knowledge adapted(const Knowledge& knowledge, const OutcomeFit& fit) {
  Knowledge own = knowledge;
  const auto put = [&](auto& rules, auto levels, const FittedRule& fitted) {
    const auto rule = std::ranges::find(rules, fitted.id, &Item::id);
    if (rule != rules.end()) {
      (*rule).*levels = fitted.fitted;
      rule->source.mark = SourceMark::own_teardowns;
    }
  };
  for (const FittedRule& r : fit.rules) {
    if (r.background) {
      put(own.backgrounds, &Background::anyway, r);
    } else {
      put(own.links, &Link::shows, r);
    }
  }
  return own;
}

}  // namespace dryshaft

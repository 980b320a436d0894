#include <algorithm>
#include <cmath>

#include "dryshaft/diagnose.hpp"

namespace dryshaft {
namespace {

constexpr bool present_in(std::size_t state, std::size_t cause) {
  return (state >> cause & 1U) != 0;
}

void multiply(States& into, const States& factor) {
  for (std::size_t s = 0; s < kStateCount; ++s) {
    into[s] *= factor[s];
  }
}

constexpr States ones() {
  States all{};
  all.fill(1.0);
  return all;
}

}  // namespace

Case empty_case() {
  Case c;
  c.level.fill(-1);
  c.set(Situation::rotor_cooling, Cooling::unknown);
  c.set(Situation::rotor_bearings, Bearings::unknown);
  c.set(Situation::gear_bearings, Bearings::unknown);
  c.set(Situation::crossover, Crossover::unknown);
  c.set(Situation::rotor_magnets, Magnets::unknown);
  c.set(Situation::configuration, Configuration::consistent);
  c.set(Situation::port_check, PortCheck::not_made);
  c.set(Situation::risk, RiskBand::low);
  c.set(Situation::by, 3);
  return c;
}

Model::Model(const Knowledge& knowledge) {
  for (std::size_t c = 0; c < kCauseCount; ++c) {
    const CauseRule& rule = knowledge.causes[c];
    CausePrior& p = priors_[c];
    p.by = rule.by ? static_cast<int>(*rule.by) : -1;
    p.base = rule.base;
    p.has_wear = rule.wear.has_value();
    p.wear = rule.wear.value_or(Wear{});
    p.given = rule.given;
    for (std::size_t parent = 0; parent < c; ++parent) {
      if (rule.given[parent] > 0) {
        p.parents |= 1U << parent;
      }
    }
    if (rule.damaging == CauseRule::Damaging::yes) {
      for (std::size_t s = 0; s < kStateCount; ++s) {
        damaging_ |= present_in(s, c) ? std::uint64_t{1} << s : 0;
      }
    }
  }
  for (auto& levels : likelihood_) {
    levels.fill(ones());
  }
  for (const Background& b : knowledge.backgrounds) {
    const auto f = static_cast<std::size_t>(b.finding);
    const std::size_t count = spec(b.finding).levels.size();
    carries_[f] = true;
    for (std::size_t s = 0; s < kStateCount; ++s) {
      // at_least[l]: chance of level l or worse; one past the last is 0
      std::array<double, kMaxLevels + 1> at_least{};
      at_least[0] = 1;
      for (std::size_t l = 1; l < count; ++l) {
        double none = 1 - b.anyway[l];
        for (const Link& link : knowledge.links) {
          if (link.finding == b.finding && present_in(s, static_cast<std::size_t>(link.cause))) {
            none *= 1 - link.shows[l];
          }
        }
        at_least[l] = 1 - none;
      }
      for (std::size_t l = 0; l < count; ++l) {
        likelihood_[f][l][s] = at_least[l] - at_least[l + 1];
      }
    }
  }
}

double Model::wear_hazard(double km, double years) const {
  for (const CausePrior& p : priors_) {
    if (p.has_wear) {
      return std::pow(km / p.wear.scale_km, p.wear.shape) +
             std::pow(years / p.wear.scale_years, p.wear.shape);
    }
  }
  return 0;
}

double Model::wear_probability(double km, double years) const {
  return -std::expm1(-wear_hazard(km, years));
}

States Model::prior(const Case& c) const {
  States states = ones();
  for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
    const CausePrior& p = priors_[cause];
    double none = 1 - p.base[p.by < 0 ? 0 : c.situation[static_cast<std::size_t>(p.by)]];
    if (p.has_wear && (p.wear.cooling >> c.at(Situation::rotor_cooling) & 1U) != 0) {
      none *= std::exp(-(std::pow(c.seal_km / p.wear.scale_km, p.wear.shape) +
                         std::pow(c.seal_years / p.wear.scale_years, p.wear.shape)));
    }
    for (std::size_t s = 0; s < kStateCount; ++s) {
      double absent = none;
      for (std::size_t parent = 0; p.parents >> parent != 0; ++parent) {
        absent *= present_in(s, parent) ? 1 - p.given[parent] : 1;
      }
      states[s] *= present_in(s, cause) ? 1 - absent : absent;
    }
  }
  return states;
}

// The likelihood of one observed finding. Harmless news from the port is mixed
// with no news as it grows old: a leak may have begun since.
void Model::factor(const Case& c, std::size_t finding, States& out) const {
  const auto level = static_cast<std::size_t>(c.level[finding]);
  const States& like = likelihood_[finding][level];
  const FindingSpec& f = spec(static_cast<Finding>(finding));
  if (level == 0 && f.at_port && f.ordered && c.port_weight < 1) {
    for (std::size_t s = 0; s < kStateCount; ++s) {
      out[s] = 1 - c.port_weight * (1 - like[s]);
    }
  } else {
    out = like;
  }
}

Posterior posterior_of(const States& all, const States& for_risk, std::uint64_t damaging) {
  Posterior p;
  double total = 0;
  double risk_total = 0;
  for (std::size_t s = 0; s < kStateCount; ++s) {
    total += all[s];
    risk_total += for_risk[s];
  }
  const double scale = 1 / total;
  for (std::size_t s = 0; s < kStateCount; ++s) {
    const double x = all[s] * scale;
    p.state[s] = x;
    for (std::size_t c = 0; c < kCauseCount; ++c) {
      p.cause[c] += present_in(s, c) ? x : 0;
    }
    if ((damaging >> s & 1U) != 0) {
      p.damage += x;
      p.risk += for_risk[s];
    }
  }
  p.risk /= risk_total;
  return p;
}

Posterior Model::infer(const Case& c) const {
  States for_risk = prior(c);
  States like;
  const auto take = [&](States& into, bool sorts_noise) {
    for (std::size_t f = 0; f < kFindingCount; ++f) {
      if (c.level[f] >= 0 && carries_[f] && findings()[f].sorts_noise == sorts_noise) {
        factor(c, f, like);
        multiply(into, like);
      }
    }
  };
  take(for_risk, false);
  States all = for_risk;
  take(all, true);
  return posterior_of(all, for_risk, damaging_);
}

Weights Model::weigh(const Case& c) const {
  Weights weights{};
  std::array<std::size_t, kFindingCount> seen{};
  std::size_t n = 0;
  for (std::size_t f = 0; f < kFindingCount; ++f) {
    if (c.level[f] >= 0 && carries_[f]) {
      seen[n++] = f;
    }
  }
  // after[i]: product of the factors of seen[i], seen[i + 1], ...
  std::array<States, kFindingCount + 1> after;
  std::array<States, kFindingCount> own;
  after[n] = ones();
  for (std::size_t i = n; i-- > 0;) {
    factor(c, seen[i], own[i]);
    after[i] = after[i + 1];
    multiply(after[i], own[i]);
  }
  const auto log_odds = [](const States& states) {
    std::array<double, kCauseCount> odds{};
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      double with = 0;
      double without = 0;
      for (std::size_t s = 0; s < kStateCount; ++s) {
        (present_in(s, cause) ? with : without) += states[s];
      }
      odds[cause] = 10 * std::log10(with / without);
    }
    return odds;
  };
  States before = prior(c);
  States all = before;
  multiply(all, after[0]);
  const auto full = log_odds(all);
  for (std::size_t i = 0; i < n; ++i) {
    States rest = before;
    multiply(rest, after[i + 1]);
    const auto left_out = log_odds(rest);
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      weights[seen[i]][cause] = full[cause] - left_out[cause];
    }
    multiply(before, own[i]);
  }
  return weights;
}

}  // namespace dryshaft

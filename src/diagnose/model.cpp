#include <algorithm>
#include <bit>
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

// Of 1, 2 or a multiple of 4 numbers. Four sums at a time keep the adders busy,
// and their order is the same on every machine.
double sum(const double* x, std::size_t n) {
  if (n < 4) {
    return n == 1 ? x[0] : x[0] + x[1];
  }
  std::array<double, 4> part{};
  for (std::size_t i = 0; i < n; i += 4) {
    for (std::size_t k = 0; k < 4; ++k) {
      part[k] += x[i + k];
    }
  }
  return (part[0] + part[1]) + (part[2] + part[3]);
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
  for (std::size_t s = 0; s < kStateCount; ++s) {
    damaged_[s] = (damaging_ >> s & 1U) != 0 ? 1 : 0;
  }
  compile_priors();
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
  // Findings by the causes that they are linked to.
  std::uint32_t to_damage = 0;
  std::uint32_t to_others = 0;
  for (const Link& link : knowledge.links) {
    const bool damaging =
        (damaging_ >> (std::size_t{1} << static_cast<std::size_t>(link.cause)) & 1U) != 0;
    (damaging ? to_damage : to_others) |= 1U << static_cast<std::size_t>(link.finding);
  }
  for (const FindingSpec& f : findings()) {
    const auto bit = static_cast<std::size_t>(f.id);
    decays_[bit] = f.at_port && f.ordered;
    std::uint32_t together = 0;  // the finding that it describes, and the others that do
    for (const FindingSpec& other : findings()) {
      if (f.detail_of && (other.id == *f.detail_of || other.detail_of == f.detail_of)) {
        together |= 1U << static_cast<std::size_t>(other.id);
      }
    }
    const bool describes = (together & to_others) != 0;
    const bool elsewhere = (to_damage >> bit & 1U) == 0;
    if (carries_[bit] && (describes || elsewhere)) {
      explains_ |= 1U << bit;
    }
  }
}

std::size_t Model::configuration(const Case& c) const {
  std::size_t at = 0;
  for (std::size_t s = 0; s < kSituationCount; ++s) {
    at += stride_[s] * c.situation[s];
  }
  return at;
}

// States with the wearing cause absent carry the chance that it has not worn
// out; those with it present carry what that leaves.
void Model::compile_priors() {
  std::size_t count = 1;
  for (std::size_t c = 0; c < kCauseCount; ++c) {
    const CausePrior& p = priors_[c];
    if (p.has_wear) {
      several_wear_ = wearing_ >= 0;
      wearing_ = several_wear_ ? wearing_ : static_cast<int>(c);
    }
    if (p.by >= 0 && stride_[static_cast<std::size_t>(p.by)] == 0) {
      stride_[static_cast<std::size_t>(p.by)] = count;
      count *= spec(static_cast<Situation>(p.by)).values.size();
    }
  }
  configured_.resize(count);
  for (std::size_t at = 0; at < count; ++at) {
    ConfiguredPrior& out = configured_[at];
    for (std::size_t s = 0; s < kStateCount; ++s) {
      double rest = 1;
      double absent_unworn = 1;
      for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
        const CausePrior& p = priors_[cause];
        std::size_t value = 0;
        if (p.by >= 0) {
          const auto by = static_cast<std::size_t>(p.by);
          value = at / stride_[by] % spec(static_cast<Situation>(p.by)).values.size();
        }
        double absent = 1 - p.base[value];
        for (std::size_t parent = 0; p.parents >> parent != 0; ++parent) {
          absent *= present_in(s, parent) ? 1 - p.given[parent] : 1;
        }
        if (static_cast<int>(cause) == wearing_) {
          absent_unworn = absent;
        } else {
          rest *= present_in(s, cause) ? 1 - absent : absent;
        }
      }
      if (wearing_ < 0) {
        out.worn[s] = rest;
      } else if (present_in(s, static_cast<std::size_t>(wearing_))) {
        out.worn[s] = rest;
        out.unworn[s] = -rest * absent_unworn;
      } else {
        out.unworn[s] = rest * absent_unworn;
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

// Any number of causes may wear out; this is the slow way, cause by cause.
States Model::prior_by_cause(const Case& c) const {
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

States Model::prior(const Case& c) const {
  if (several_wear_) {
    return prior_by_cause(c);
  }
  const ConfiguredPrior& p = configured_[configuration(c)];
  double unworn = 1;
  if (wearing_ >= 0) {
    const Wear& wear = priors_[static_cast<std::size_t>(wearing_)].wear;
    if ((wear.cooling >> c.at(Situation::rotor_cooling) & 1U) != 0) {
      unworn = std::exp(-wear_hazard(c.seal_km, c.seal_years));
    }
  }
  States states;
  for (std::size_t s = 0; s < kStateCount; ++s) {
    states[s] = p.worn[s] + p.unworn[s] * unworn;
  }
  return states;
}

// The likelihood of one observed finding. Harmless news from the port is mixed
// with no news as it grows old: a leak may have begun since.
void Model::factor(const Case& c, std::size_t finding, States& out) const {
  out = ones();
  multiply_by(c, finding, out);
}

void Model::multiply_by(const Case& c, std::size_t finding, States& states) const {
  const auto level = static_cast<std::size_t>(c.level[finding]);
  const States& like = likelihood_[finding][level];
  if (level == 0 && decays_[finding] && c.port_weight < 1) {
    for (std::size_t s = 0; s < kStateCount; ++s) {
      states[s] *= 1 - c.port_weight * (1 - like[s]);
    }
  } else {
    multiply(states, like);
  }
}

Posterior posterior_of(const States& unnormalised, std::uint64_t damaging) {
  Posterior p;
  p.state = unnormalised;
  const double scale = 1 / sum(unnormalised.data(), kStateCount);
  for (double& x : p.state) {
    x *= scale;
  }
  std::array<double, kStateCount> part;
  for (std::size_t s = 0; s < kStateCount; ++s) {
    part[s] = (damaging >> s & 1U) != 0 ? p.state[s] : 0;
  }
  p.risk = sum(part.data(), kStateCount);
  p.graded_risk = p.risk;
  // Causes from the last bit down: sum up the half with the cause, then fold
  // that half onto the other, which leaves the joint states of the causes before.
  part = p.state;
  for (std::size_t c = kCauseCount; c-- > 0;) {
    const std::size_t half = std::size_t{1} << c;
    p.cause[c] = sum(&part[half], half);
    for (std::size_t s = 0; s < half; ++s) {
      part[s] += part[half + s];
    }
  }
  return p;
}

Posterior Model::infer(const Case& c) const {
  States states = prior(c);
  std::uint32_t explaining = 0;
  for (std::size_t f = 0; f < kFindingCount; ++f) {
    if (c.level[f] >= 0 && carries_[f]) {
      if ((explains_ >> f & 1U) != 0) {
        explaining |= 1U << f;
      } else {
        multiply_by(c, f, states);
      }
    }
  }
  if (explaining == 0) {
    return posterior_of(states, damaging_);
  }
  States damaged;
  for (std::size_t s = 0; s < kStateCount; ++s) {
    damaged[s] = states[s] * damaged_[s];
  }
  const double graded_risk = sum(damaged.data(), kStateCount) / sum(states.data(), kStateCount);
  for (; explaining != 0; explaining &= explaining - 1) {
    multiply_by(c, static_cast<std::size_t>(std::countr_zero(explaining)), states);
  }
  Posterior p = posterior_of(states, damaging_);
  p.graded_risk = graded_risk;
  return p;
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

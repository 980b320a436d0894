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

constexpr std::size_t kBlocks = kStateCount / kBlock;
using Block = std::array<double, kBlock>;

double sum(const Block& x) { return (x[0] + x[1]) + (x[2] + x[3]); }

// For each set of states of a block: 1 for those in it, else 0.
constexpr auto kMembers = [] {
  std::array<Block, std::size_t{1} << kBlock> members{};
  for (std::size_t set = 0; set < members.size(); ++set) {
    for (std::size_t i = 0; i < kBlock; ++i) {
      members[set][i] = (set >> i & 1U) != 0 ? 1 : 0;
    }
  }
  return members;
}();
const Block& members(std::uint64_t states, std::size_t block) {
  return kMembers[states >> (block * kBlock) & ((1U << kBlock) - 1U)];
}

// Share of some states in the sum of all.
double share(const States& x, std::uint64_t states) {
  Block all{};
  Block some{};
  for (std::size_t b = 0; b < kBlocks; ++b) {
    const Block& in = members(states, b);
    for (std::size_t i = 0; i < kBlock; ++i) {
      all[i] += x[b * kBlock + i];
      some[i] += x[b * kBlock + i] * in[i];
    }
  }
  return sum(some) / sum(all);
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
  std::array<std::uint32_t, kFindingCount> linked{};
  std::uint32_t to_damage = 0;
  std::uint32_t to_others = 0;
  for (const Link& link : knowledge.links) {
    const bool damaging =
        (damaging_ >> (std::size_t{1} << static_cast<std::size_t>(link.cause)) & 1U) != 0;
    (damaging ? to_damage : to_others) |= 1U << static_cast<std::size_t>(link.finding);
    linked[static_cast<std::size_t>(link.finding)] |= 1U << static_cast<std::size_t>(link.cause);
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
  compile_groups(linked);
}

// One group for the findings on damaging causes alone, one for all others. The
// first two causes belong to both, so that blocks stay whole.
void Model::compile_groups(const std::array<std::uint32_t, kFindingCount>& linked) {
  std::uint32_t damaging = 0;
  for (std::size_t c = 0; c < kCauseCount; ++c) {
    damaging |= (damaging_ >> (std::size_t{1} << c) & 1U) != 0 ? 1U << c : 0;
  }
  constexpr std::uint32_t kInBlock = kBlock - 1;
  groups_[0].causes = damaging | kInBlock;
  groups_[1].causes = kInBlock;
  for (std::size_t f = 0; f < kFindingCount; ++f) {
    group_of_[f] = (linked[f] & ~groups_[0].causes) != 0 ? 1 : 0;
    groups_[1].causes |= group_of_[f] != 0 ? linked[f] : 0;
  }
  for (std::size_t g = 0; g < groups_.size(); ++g) {
    Group& group = groups_[g];
    group.size = std::size_t{1} << static_cast<unsigned>(std::popcount(group.causes));
    const auto place = [&](std::size_t state) {
      std::size_t at = 0;
      unsigned bit = 0;
      for (std::size_t c = 0; c < kCauseCount; ++c) {
        if ((group.causes >> c & 1U) != 0) {
          at |= (state >> c & 1U) << bit++;
        }
      }
      return at;
    };
    for (std::size_t b = 0; b < kBlocks; ++b) {
      group.block[b] = static_cast<std::uint8_t>(place(b * kBlock));
    }
    for (std::size_t f = 0; f < kFindingCount; ++f) {
      for (std::size_t l = 0; l < kMaxLevels && group_of_[f] == g; ++l) {
        for (std::size_t s = 0; s < kStateCount; ++s) {
          grouped_[f][l][place(s)] = likelihood_[f][l][s];
        }
      }
    }
  }
}

// Likelihoods multiplied, a table for each group.
struct Model::Product {
  std::array<States, 2> table;
  std::array<bool, 2> any{};
};

Model::Product Model::observe(const Case& c, std::uint32_t which) const {
  Product product;
  for (std::size_t g = 0; g < groups_.size(); ++g) {
    std::fill_n(product.table[g].begin(), groups_[g].size, 1.0);
  }
  for (; which != 0; which &= which - 1) {
    const auto f = static_cast<std::size_t>(std::countr_zero(which));
    const auto level = static_cast<std::size_t>(c.level[f]);
    const std::size_t g = group_of_[f];
    const std::size_t size = groups_[g].size;
    double* into = product.table[g].data();
    const double* like = grouped_[f][level].data();
    product.any[g] = true;
    if (level == 0 && decays_[f] && c.port_weight < 1) {
      for (std::size_t s = 0; s < size; ++s) {
        into[s] *= 1 - c.port_weight * (1 - like[s]);
      }
    } else {
      for (std::size_t s = 0; s < size; ++s) {
        into[s] *= like[s];
      }
    }
  }
  return product;
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
  const auto level = static_cast<std::size_t>(c.level[finding]);
  const States& like = likelihood_[finding][level];
  if (level == 0 && decays_[finding] && c.port_weight < 1) {
    for (std::size_t s = 0; s < kStateCount; ++s) {
      out[s] = 1 - c.port_weight * (1 - like[s]);
    }
  } else {
    out = like;
  }
}

Posterior posterior_of(const States& unnormalised, std::uint64_t damaging) {
  // By place in a block, by block, and over damaging states.
  Block by_place{};
  Block damaged{};
  std::array<double, kBlocks> by_block;
  for (std::size_t b = 0; b < kBlocks; ++b) {
    Block x;
    const Block& in = members(damaging, b);
    for (std::size_t i = 0; i < kBlock; ++i) {
      x[i] = unnormalised[b * kBlock + i];
      by_place[i] += x[i];
      damaged[i] += x[i] * in[i];
    }
    by_block[b] = sum(x);
  }
  const double scale = 1 / sum(by_place);
  Posterior p;
  for (std::size_t s = 0; s < kStateCount; ++s) {
    p.state[s] = unnormalised[s] * scale;
  }
  p.risk = sum(damaged) * scale;
  p.graded_risk = p.risk;
  p.cause[0] = (by_place[1] + by_place[3]) * scale;
  p.cause[1] = (by_place[2] + by_place[3]) * scale;
  // The other causes from the last down: sum up the half of the blocks with the
  // cause, then fold it onto the other half.
  for (std::size_t c = kCauseCount; c-- > 2;) {
    const std::size_t half = (std::size_t{1} << c) / kBlock;
    double present = 0;
    for (std::size_t b = 0; b < half; ++b) {
      present += by_block[half + b];
      by_block[b] += by_block[half + b];
    }
    p.cause[c] = present * scale;
  }
  return p;
}

Posterior Model::infer(const Case& c) const {
  std::uint32_t seen = 0;
  for (std::size_t f = 0; f < kFindingCount; ++f) {
    seen |= c.level[f] >= 0 && carries_[f] ? 1U << f : 0U;
  }
  States states = prior(c);
  const auto spread = [&](const Product& product) {
    for (std::size_t g = 0; g < groups_.size(); ++g) {
      for (std::size_t b = 0; b < kBlocks && product.any[g]; ++b) {
        const double* factor = &product.table[g][groups_[g].block[b]];
        for (std::size_t i = 0; i < kBlock; ++i) {
          states[b * kBlock + i] *= factor[i];
        }
      }
    }
  };
  spread(observe(c, seen & ~explains_));
  if ((seen & explains_) == 0) {
    return posterior_of(states, damaging_);
  }
  const double graded_risk = share(states, damaging_);
  spread(observe(c, seen & explains_));
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

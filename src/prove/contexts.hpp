// Every joint value of what some conditions mention.
#ifndef DRYSHAFT_PROVE_CONTEXTS_HPP
#define DRYSHAFT_PROVE_CONTEXTS_HPP

#include <fmt/format.h>

#include <cstdint>
#include <string_view>
#include <vector>

#include "knowledge/condition_set.hpp"
#include "prove/argument.hpp"
#include "prove/space.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft::proof {

constexpr bool has(std::uint32_t mask, auto e) { return (mask >> idx(e) & 1U) != 0; }

inline std::string shown(Finding f, int level) {
  return level < 0
             ? fmt::format("{} not observed", name(f))
             : fmt::format("{} {}", name(f), spec(f).levels[static_cast<std::size_t>(level)].id);
}

// Ways of a unit that has gone for a while: short, middling and long, with and without coolant in
// its shaft. Calls `visit(from, to, km)`.
void each_way(const Space& space, const auto& visit) {
  constexpr double kSoFar = 100000;
  const double per_year = space.knowledge.settings.km_per_year;
  for (const Cooling cooling : {Cooling::wet, Cooling::factory_dry}) {
    for (const double km : {20.0, 5000.0, 80000.0}) {
      Clock from;
      from.cooling = cooling;
      from = from.later(kSoFar, kSoFar / per_year);
      visit(from, from.later(km, km / per_year), km);
    }
  }
}

inline constexpr std::uint64_t kMostContexts = 300'000'000;

// Calls `visit(facts)` for every joint value of these findings and situations
// that is possible; the rest is not observed and not known.
class Contexts {
 public:
  Contexts(std::uint32_t findings_mask, std::uint32_t situations_mask) {
    for (const FindingSpec& f : findings()) {
      findings_mask |= has(findings_mask, f.id) ? needed_by(f) : 0;
    }
    for (const FindingSpec& f : findings()) {  // leaders stand before their details
      if (has(findings_mask, f.id)) {
        findings_.push_back(f.id);
      }
    }
    for (const SituationSpec& s : situations()) {
      if (has(situations_mask, s.id) && s.id != Situation::risk) {
        situations_.push_back(s.id);
      }
    }
  }

  [[nodiscard]] double size() const {
    double n = 1;
    for (const Finding f : findings_) {
      n *= static_cast<double>(spec(f).levels.size()) + 1;
    }
    for (const Situation s : situations_) {
      n *= static_cast<double>(spec(s).values.size());
    }
    return n;
  }

  template <typename Visit>
  void each(Facts facts, const Visit& visit) const {
    walk_situations(0, facts, visit);
  }

 private:
  template <typename Visit>
  void walk_situations(std::size_t i, Facts& facts, const Visit& visit) const {
    if (i == situations_.size()) {
      walk_findings(0, facts, visit);
      return;
    }
    const std::size_t s = idx(situations_[i]);
    const std::uint8_t kept = facts.situation[s];
    for (std::size_t v = 0; v < spec(situations_[i]).values.size(); ++v) {
      facts.situation[s] = static_cast<std::uint8_t>(v);
      walk_situations(i + 1, facts, visit);
    }
    facts.situation[s] = kept;
  }
  template <typename Visit>
  void walk_findings(std::size_t i, Facts& facts, const Visit& visit) const {
    if (i == findings_.size()) {
      visit(facts);
      return;
    }
    const FindingSpec& f = spec(findings_[i]);
    const std::int8_t kept = facts.level[idx(f.id)];
    const int levels = exists(f.id, facts.level) ? static_cast<int>(f.levels.size()) : 0;
    for (int l = -1; l < levels; ++l) {
      facts.level[idx(f.id)] = static_cast<std::int8_t>(l);
      walk_findings(i + 1, facts, visit);
    }
    facts.level[idx(f.id)] = kept;
  }

  std::vector<Finding> findings_;
  std::vector<Situation> situations_;
};

inline Facts nothing_known() {
  const Case c = empty_case();
  return {.level = c.level, .situation = c.situation, .probability = {}, .grade = Grade::A};
}

inline bool fits(const Contexts& contexts, std::string_view of, Step& step) {
  if (contexts.size() > static_cast<double>(kMostContexts)) {
    step.fail(
        fmt::format("what speaks of {} depends on {:.3g} states, too many to "
                    "enumerate",
                    of, contexts.size()));
    return false;
  }
  return true;
}

// A liquid seen and when it was looked for belong together.
inline bool consistent(const Facts& facts, const Mentions& mentions) {
  const std::int8_t fluid = facts.level[idx(Finding::port_fluid)];
  const bool made = facts.situation[idx(Situation::port_check)] != idx(PortCheck::not_made);
  return !mentions.has(Finding::port_fluid) || !mentions.has(Situation::port_check) ||
         (made ? fluid >= 0 : fluid != 0);
}

}  // namespace dryshaft::proof

#endif

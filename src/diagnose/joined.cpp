#include "diagnose/joined.hpp"

#include <algorithm>

#include "base/index.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft {
namespace {

void take(Presentation& into, const Presentation& other, Finding f, std::string_view day) {
  into.facts.set(f, other.facts.at(f));
  Observed& o = into.observed[idx(f)] = other.observed[idx(f)];
  if (o.since.empty() && other.facts.at(f) >= 0) {
    o.since = day;
  }
}

// Of liquid at the port: one of unknown kind may be coolant, so it is worse than oil or water.
int badness_of_kind(const Case& c) {
  const int kind = c.at(Finding::port_fluid_kind);
  return kind < 0 ? 2 * level_of(FluidKind::water) + 1 : 2 * kind;
}

template <typename State>
void unless_same(Case& into, const Case& other, Situation s, State assumed) {
  if (into.at(s) != other.at(s)) {
    into.set(s, assumed);
  }
}

}  // namespace

void take_worse(Presentation& into, const Presentation& other, std::string_view day) {
  const Case before = into.facts;
  const Observed kind_observed = into.observed[idx(Finding::port_fluid_kind)];
  for (const FindingSpec& f : findings()) {
    const int level = other.facts.at(f.id);
    if (!f.ordered || f.detail_of || level <= 0 || level <= before.at(f.id)) {
      continue;
    }
    take(into, other, f.id, day);
    for (const FindingSpec& detail : findings()) {
      if (detail.detail_of == f.id) {
        take(into, other, detail.id, day);
      }
    }
  }
  // Much oil and a little coolant: of amount and kind each the worse.
  if (before.at(Finding::port_fluid) > 0 && other.facts.at(Finding::port_fluid) > 0) {
    const bool worse = badness_of_kind(other.facts) > badness_of_kind(before);
    into.facts.set(Finding::port_fluid_kind, before.at(Finding::port_fluid_kind));
    into.observed[idx(Finding::port_fluid_kind)] = kind_observed;
    if (worse) {
      take(into, other, Finding::port_fluid_kind, day);
    }
  }
  for (const std::string_view id : other.contradictions) {
    if (std::ranges::find(into.contradictions, id) == into.contradictions.end()) {
      into.contradictions.push_back(id);
    }
  }
}

void keep_common_good(Presentation& into, const Presentation& other) {
  Case& a = into.facts;
  const Case& b = other.facts;
  for (const FindingSpec& f : findings()) {
    if (f.ordered && !f.detail_of && a.at(f.id) == 0 && b.at(f.id) < 0) {
      a.set(f.id, -1);
      into.observed[idx(f.id)] = {};
    }
  }
  a.set(Situation::port_check, std::max(a.at(Situation::port_check), b.at(Situation::port_check)));
  // Whose past it is, nobody knows: what is bad in it counts now, what is good not at all.
  a.course.reset();
  for (const FindingSpec& f : findings()) {
    a.earlier &= f.ordered && a.at(f.id) <= 0 ? ~0U : ~(1U << idx(f.id));
  }
  a.seal_km = std::max(a.seal_km, b.seal_km);
  a.seal_years = std::max(a.seal_years, b.seal_years);
  into.port_days_ago = std::max(into.port_days_ago, other.port_days_ago);
  into.port_km_ago = std::max(into.port_km_ago, other.port_km_ago);
  into.seal_km =
      into.seal_km && other.seal_km ? std::max(into.seal_km, other.seal_km) : std::nullopt;
  unless_same(a, b, Situation::rotor_cooling, Cooling::wet);
  unless_same(a, b, Situation::rotor_bearings, Bearings::unknown);
  unless_same(a, b, Situation::gear_bearings, Bearings::unknown);
  unless_same(a, b, Situation::crossover, Crossover::unknown);
  unless_same(a, b, Situation::configuration, Configuration::contradicted);
  unless_same(a, b, Situation::rotor_magnets, Magnets::unknown);
}

}  // namespace dryshaft

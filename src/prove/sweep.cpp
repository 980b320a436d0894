#include "prove/sweep.hpp"

#include <algorithm>

#include "decide/grading.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft::proof {
namespace {

struct Judged {
  double risk = 0;
  Grade grade = Grade::U;
};

// Looks at one state and its better neighbours.
class Examiner {
 public:
  Examiner(const Space& space, Aims aims) : space_(space), aims_(aims), priors_(space.model) {}

  void examine(const Draft& d) {
    const Case c = space_.realize(d);
    const Judged here = at(c);
    const auto wanted = [&](Aim aim) { return (aims_ & only(aim)) != 0; };
    if (wanted(Aim::unchecked_a)) {
      const bool a = here.grade == Grade::A && !made_dry_and_clean(d.level, d.look.check);
      const bool b = here.grade <= Grade::B && d.look.check != PortCheck::fresh;
      if (a || b) {
        breach(Aim::unchecked_a, d, std::nullopt);
      }
    }
    if (wanted(Aim::no_action)) {
      const Facts facts = facts_of(c, judge(space_.knowledge, space_.model, c, priors_.of(c)));
      if (std::ranges::none_of(space_.knowledge.advice,
                               [&](const Advice& a) { return holds(a.when, facts); })) {
        breach(Aim::no_action, d, std::nullopt);
      }
    }
    if (wanted(Aim::worse_finding)) {
      lowered(d, here);
    }
    if (wanted(Aim::not_observed)) {
      forgotten(d, here);
    }
    if (wanted(Aim::later_look) && d.look.check == PortCheck::fresh && d.look.days == 0) {
      looked_later(d);
    }
  }

  Sweep found;

 private:
  Judged at(const Case& c) {
    ++found.states;
    const Prior& prior = priors_.of(c);
    return {space_.model.risks(c, prior).risk, grade_of(space_.knowledge, space_.model, c, prior)};
  }
  Judged at(const Draft& d) { return at(space_.realize(d)); }

  void breach(Aim aim, const Draft& bad, const std::optional<Draft>& than) {
    std::size_t n = bad.observed();
    if (than) {
      n = std::max(n, than->observed());
    }
    std::optional<Breach>& smallest = found.smallest[idx(aim)];
    if (!smallest || n < smallest->findings) {
      smallest = Breach{aim, bad, than, n};
    }
  }

  void compare(Aim aim, const Draft& worse, Judged w, const Draft& better, Judged b,
               bool grade_only = false) {
    if ((!grade_only && falls(b.risk, w.risk)) || severity(w.grade) < severity(b.grade)) {
      breach(aim, worse, better);
    }
  }

  [[nodiscard]] NextLook next(const Draft& d) {
    ++found.states;
    const Case c = space_.realize(d);
    return next_look(space_, c, judge(space_.knowledge, space_.model, c, priors_.of(c)));
  }

  void looked_later(const Draft& d) {
    const NextLook here = next(d);
    each_lower(d, [&](const Draft& lower, Finding) {
      const NextLook there = next(lower);
      if (here.km.value_or(0) > there.km.value_or(0) ||
          here.days.value_or(0) > there.days.value_or(0)) {
        breach(Aim::later_look, d, lower);
      }
    });
  }

  void lowered(const Draft& d, Judged here) {
    each_lower(d, [&](const Draft& lower, Finding f) {
      compare(Aim::worse_finding, d, here, lower, at(lower), space_.model.explains_only(f));
    });
  }

  // Each ordered finding that is above harmless, one level down.
  template <typename Take>
  void each_lower(const Draft& d, const Take& take) {
    for (const FindingSpec& f : findings()) {
      if (!f.ordered || d.at(f.id) < 1) {
        continue;
      }
      Draft lower = d;
      lower.set(f.id, d.at(f.id) - 1);
      if (f.never_absent) {
        lower.set(f.id, -1);
      }
      if (lower.at(f.id) == 0) {
        // What is said of the worse finding does not exist for the harmless
        // one: compare with nothing said.
        if (std::ranges::any_of(findings(), [&](const FindingSpec& detail) {
              return detail.detail_of == f.id && d.at(detail.id) >= 0;
            })) {
          continue;
        }
        if (f.id == Finding::port_fluid && d.look.check == PortCheck::not_made) {
          lower.look = space_.looks[1];
        }
      }
      if (Space::possible(lower) && lower.moments() == d.moments()) {
        take(lower, f.id);
      }
    }
  }

  // Each finding that tells the best it can, taken away.
  void forgotten(const Draft& d, Judged here) {
    for (const FindingSpec& f : findings()) {
      if (f.ordered && d.at(f.id) == 0) {
        Draft without = d;
        without.set(f.id, -1);
        if (f.id == Finding::port_fluid) {
          if (d.look.days > 0) {
            continue;  // other news of the same look would go as well
          }
          without.look = space_.looks[0];
        }
        if (Space::possible(without) && without.moments() == d.moments()) {
          compare(Aim::not_observed, without, at(without), d, here,
                  space_.model.explains_only(f.id));
        }
      } else if (d.at(f.id) < 0 && (!f.ordered || space_.model.explains_only(f.id))) {
        any_value(d, here, f);
      }
    }
  }

  // At least one value looks no worse than not knowing; where a finding only
  // explains, one for the risk and one for the grade.
  void any_value(const Draft& d, Judged here, const FindingSpec& f) {
    const bool apart = space_.model.explains_only(f.id);
    std::optional<Draft> first;
    bool risk = false;
    bool grade = false;
    for (std::size_t l = 0; l < f.levels.size() && !(risk && grade); ++l) {
      Draft with = d;
      with.set(f.id, static_cast<int>(l));
      if (!Space::possible(with) || with.moments() != d.moments()) {
        continue;
      }
      first = first ? first : with;
      const Judged known = at(with);
      const bool lower = !falls(known.risk, here.risk);
      const bool no_worse = severity(known.grade) <= severity(here.grade);
      risk = risk || (lower && (apart || no_worse));
      grade = grade || (no_worse && (apart || lower));
    }
    if (first && !(risk && grade)) {
      breach(Aim::not_observed, d, first);
    }
  }

  const Space& space_;
  Aims aims_;
  Priors priors_;
};

void keep_smaller(Sweep& into, const Sweep& more) {
  into.states += more.states;
  for (std::size_t a = 0; a < kAimCount; ++a) {
    const std::optional<Breach>& b = more.smallest[a];
    if (b && (!into.smallest[a] || b->findings < into.smallest[a]->findings)) {
      into.smallest[a] = b;
    }
  }
}

}  // namespace

NextLook next_look(const Space& space, const Case& c, const Verdict& verdict) {
  const Knowledge& k = space.knowledge;
  const Ahead ahead(space.model.life(), verdict.posterior.belief, clock_of(c),
                    k.settings.km_per_year);
  const double safe =
      waits(verdict.grade) ? safe_km(k, ahead, verdict.grade, ahead.unharmed(), 0) : 0;
  return next_look(k, facts_of(c, verdict), safe);
}

bool made_dry_and_clean(const Levels& level, PortCheck check) {
  const auto at = [&](Finding f) { return level[idx(f)]; };
  return check == PortCheck::fresh && at(Finding::port_fluid) == 0 &&
         at(Finding::port_residue) == 0 && at(Finding::port_rust) == 0 &&
         at(Finding::port_debris) < level_of(Debris::chips);
}

Sweep sweep(const Space& space, const Reach& reach, const Spread& spread) {
  auto picks = space.picks(reach.findings);
  std::erase_if(picks, [&](const auto& p) { return p.size() < reach.fewest; });
  constexpr std::size_t kChunk = 128;  // neighbours have most priors in common
  const std::size_t chunks = (picks.size() + kChunk - 1) / kChunk;
  std::vector<Sweep> parts(chunks);
  const auto first = [](std::size_t wanted, std::size_t all) {
    return wanted == 0 ? all : std::min(wanted, all);
  };
  const std::span<const AsBuilt> described = space.configurations.described();
  const auto units = described.first(first(reach.configurations, described.size()));
  spread(chunks, [&](std::size_t chunk) {
    Examiner examiner(space, reach.aims);
    const std::size_t end = std::min(picks.size(), (chunk + 1) * kChunk);
    for (std::size_t p = chunk * kChunk; p < end; ++p) {
      for (const Levels& base : space.bases) {
        Draft d;
        d.level = base;
        for (const auto& [f, l] : picks[p]) {
          d.set(f, l);
        }
        for (const Look& look : space.looks) {
          d.look = look;
          for (const AsBuilt& unit : units) {
            d.unit = unit;
            if (!Space::possible(d)) {
              continue;
            }
            for (std::size_t k = 0; k < first(reach.distances, space.distances.size()); ++k) {
              d.km = space.distances[k];
              examiner.examine(d);
            }
          }
        }
      }
    }
    parts[chunk] = examiner.found;
  });
  Sweep all;
  for (const Sweep& part : parts) {
    keep_smaller(all, part);
  }
  return all;
}

std::optional<Breach> smallest_breach(const Space& space, Aim aim, const Spread& spread) {
  const std::size_t most = aim == Aim::later_look ? 2 : 3;  // each date takes ways ahead
  for (std::size_t n = 0; n <= most; ++n) {
    Reach reach{.findings = n, .fewest = n, .aims = only(aim)};
    if (n > 1) {
      reach.configurations = n == 2 ? space.configurations.few : 1;
      reach.distances = 3;
    }
    if (const std::optional<Breach> found = sweep(space, reach, spread).smallest[idx(aim)]) {
      return shrunk(space, *found);
    }
  }
  return std::nullopt;
}

std::optional<Breach> confirmed(const Space& space, const Breach& breach) {
  for (const std::optional<Draft>& d : {std::optional(breach.bad), breach.than}) {
    if (d && Space::possible(*d)) {
      Examiner examiner(space, only(breach.aim));
      examiner.examine(*d);
      if (examiner.found.smallest[idx(breach.aim)]) {
        return examiner.found.smallest[idx(breach.aim)];
      }
    }
  }
  return std::nullopt;
}

Breach shrunk(const Space& space, Breach breach) {
  for (bool again = true; again;) {
    again = false;
    for (const FindingSpec& f : findings()) {
      const bool differs = breach.than && breach.than->at(f.id) != breach.bad.at(f.id);
      if (breach.bad.at(f.id) < 0 || differs) {
        continue;
      }
      Breach less = breach;  // with one finding fewer on both sides
      const auto leave_out = [&](Draft& d) {
        d.leave_out(f.id);
        if (f.id == Finding::port_fluid) {
          d.look = space.looks[0];
        }
      };
      leave_out(less.bad);
      if (less.than) {
        leave_out(*less.than);
      }
      const std::optional<Breach> still = confirmed(space, less);
      if (still && still->findings < breach.findings) {
        breach = *still;
        again = true;
      }
    }
  }
  return breach;
}

}  // namespace dryshaft::proof

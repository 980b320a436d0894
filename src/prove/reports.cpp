#include "prove/reports.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>

#include "dryshaft/prove.hpp"
#include "dryshaft/report.hpp"
#include "knowledge/owner_words.hpp"

namespace dryshaft::proof {
namespace {

constexpr std::size_t kShown = 3;
constexpr std::size_t kChunk = 8;

// Members of a report that hold ids or what the record itself says.
constexpr std::string_view kNotOurWords[] = {
    "id",     "rule",   "action",  "finding",      "value",  "unit_id",      "note",   "source",
    "sha256", "family", "vehicle", "family_title", "format", "not_observed", "version"};

// Runs `look(specimen)`, which returns what is wrong or nothing, over all.
Inspected inspect(const std::vector<Specimen>& specimens, const Spread& spread,
                  const std::function<std::string(const Specimen&)>& look) {
  const std::size_t chunks = (specimens.size() + kChunk - 1) / kChunk;
  std::vector<std::vector<Offence>> found(chunks);
  spread(chunks, [&](std::size_t chunk) {
    const std::size_t end = std::min(specimens.size(), (chunk + 1) * kChunk);
    for (std::size_t i = chunk * kChunk; i < end; ++i) {
      if (std::string what = look(specimens[i]); !what.empty()) {
        found[chunk].push_back({std::move(what), &specimens[i]});
      }
    }
  });
  Inspected all;
  all.states = specimens.size();
  std::set<std::string> seen;
  for (std::vector<Offence>& part : found) {
    for (Offence& o : part) {
      if (all.offences.size() < kShown && seen.insert(o.what).second) {
        all.offences.push_back(std::move(o));
      }
    }
  }
  return all;
}

Report report_on(const Knowledge& k, const Model& m, const History& h, Audience audience) {
  return assess(h, k, m, {.audience = audience, .today = std::nullopt});
}

std::string offence_in(const nlohmann::json& value, const ReservedWords& never) {
  if (value.is_string()) {
    const auto& text = value.get_ref<const std::string&>();
    const std::string_view phrase = never.in(text);
    return phrase.empty() ? std::string()
                          : fmt::format("an owner's report says \"{}\": {}", phrase, text);
  }
  if (value.is_object()) {
    for (const auto& [key, member] : value.items()) {
      if (std::ranges::find(kNotOurWords, key) == std::end(kNotOurWords)) {
        if (std::string found = offence_in(member, never); !found.empty()) {
          return found;
        }
      }
    }
  } else if (value.is_array()) {
    for (const nlohmann::json& element : value) {
      if (std::string found = offence_in(element, never); !found.empty()) {
        return found;
      }
    }
  }
  return {};
}

template <typename Each>
void each_list(Knowledge& k, const Each& change) {
  change(k.backgrounds);
  change(k.links);
  change(k.floors);
  change(k.actions);
  change(k.advice);
  change(k.comebacks);
  change(k.outlooks);
  change(k.contradictions);
  change(k.families);
  for (ActionRule& a : k.actions) {
    change(a.cautions);
    change(a.owner_cautions);
    change(a.closed_by.work);
    change(a.closed_by.look);
  }
  for (Advice& a : k.advice) {
    change(a.with);
    change(a.instead_of);
  }
}

}  // namespace

std::vector<Specimen> specimens(const Space& space, std::size_t most, const Spread& spread) {
  // Reports go by more situations than grades do.
  Mentions asked;
  for (const Advice& a : space.knowledge.advice) {
    asked.add(a.when);
  }
  for (const ActionRule& a : space.knowledge.actions) {
    asked.add(a.check_when);
  }
  for (const OutlookRule& o : space.knowledge.outlooks) {
    asked.add(o.when);
  }
  for (const CautionRule& c : space.knowledge.cautions) {
    asked.add(c.when);
  }
  const Configurations configurations = space.configurations_by(space.graded | asked.situations);
  const std::span<const AsBuilt> units = configurations.described();
  std::vector<Draft> drafts;
  std::size_t turn = 0;
  for (const auto& pick : space.picks(most)) {
    std::vector<Draft> all;
    for (const Levels& base : space.bases) {
      Draft d;
      d.level = base;
      for (const auto& [f, l] : pick) {
        d.set(f, l);
      }
      for (const Look& look : space.looks) {
        d.look = look;
        d.unit = units[turn % units.size()];
        d.km = space.distances[turn / 7 % space.distances.size()];
        if (Space::possible(d)) {
          all.push_back(d);
          turn += pick.size() < 2 ? 1 : 0;
        }
      }
    }
    if (pick.size() < 2) {
      drafts.insert(drafts.end(), all.begin(), all.end());
    } else if (!all.empty()) {
      drafts.push_back(all[turn++ % all.size()]);
    }
  }
  std::vector<std::optional<Specimen>> worded(drafts.size());
  const std::size_t chunks = (drafts.size() + kChunk - 1) / kChunk;
  spread(chunks, [&](std::size_t chunk) {
    const std::size_t end = std::min(drafts.size(), (chunk + 1) * kChunk);
    for (std::size_t i = chunk * kChunk; i < end; ++i) {
      std::optional<std::string> lines = record_of(space.knowledge, space.realize(drafts[i]));
      if (lines) {
        std::optional<History> history = read_history(space.knowledge, *lines);
        worded[i] = Specimen{drafts[i], std::move(*lines), std::move(*history)};
      }
    }
  });
  std::vector<Specimen> all;
  for (std::optional<Specimen>& s : worded) {
    if (s) {
      all.push_back(std::move(*s));
    }
  }
  std::ranges::stable_sort(all, {}, [](const Specimen& s) { return s.draft.observed(); });
  return all;
}

Inspected cautions_complete(const Space& space, const std::vector<Specimen>& specimens,
                            const Spread& spread) {
  const Knowledge& k = space.knowledge;
  return inspect(specimens, spread, [&](const Specimen& s) -> std::string {
    for (const Audience audience : {Audience::technician, Audience::owner}) {
      const Report r = report_on(k, space.model, s.history, audience);
      if (r.actions.empty()) {
        return "a report has no action";
      }
      const Facts facts = facts_of(space.realize(s.draft), space.judge(s.draft));
      const auto lacks = [&](std::string_view id) {
        const CautionRule& rule = *k.caution(id);
        return holds(rule.when, facts) &&
               std::ranges::find(r.cautions, id, &Caution::id) == r.cautions.end();
      };
      const auto check = [&](std::string_view action) -> std::string {
        const ActionRule& rule = *k.action(action);
        for (const std::string& id :
             audience == Audience::owner ? rule.owner_cautions : rule.cautions) {
          if (lacks(id)) {
            return fmt::format("a report with {} lacks the caution {}", action, id);
          }
        }
        return {};
      };
      for (const Action& a : r.actions) {
        if (std::string what = check(a.id); !what.empty()) {
          return what;
        }
      }
      for (const NextCheck& n : r.next_checks) {
        if (std::string what = check(n.id); !what.empty()) {
          return what;
        }
      }
      for (const CautionRule& c : k.cautions) {
        if (c.always && lacks(c.id)) {
          return fmt::format("a report lacks the caution {}, which goes on every report", c.id);
        }
      }
    }
    return {};
  });
}

Inspected owner_texts(const Space& space, const std::vector<Specimen>& specimens,
                      const Spread& spread) {
  const Knowledge& k = space.knowledge;
  const ReservedWords never(k);
  std::vector<Offence> in_rules;
  std::uint64_t texts = 0;
  const auto text = [&](const Item& item, const std::string& owner) {
    ++texts;
    if (const std::string_view phrase = never.in(owner); !phrase.empty()) {
      in_rules.push_back(
          {fmt::format("{} tells an owner to \"{}\": {}", place(item), phrase, owner), nullptr});
    }
  };
  for (const CauseRule& c : k.causes) {
    text(c, c.plain);
  }
  for (const Floor& f : k.floors) {
    text(f, f.plain);
  }
  for (const Advice& a : k.advice) {
    text(a, a.plain);
  }
  for (const ComebackRule& c : k.comebacks) {
    text(c, c.plain);
  }
  for (const CautionRule& c : k.cautions) {
    text(c, c.owner_text);
    text(c, c.charging);
    if (c.trained_only && c.owner_never.empty()) {
      in_rules.push_back({fmt::format("{} reserves its work for trained people and names no words "
                                      "in \"owner_never\"",
                                      place(c)),
                          nullptr});
    }
  }
  for (const GradeRule& g : k.grades) {
    text(g, g.owner_meaning);
    text(g, g.buyer_text);
    text(g, g.drive);
    text(g, g.drive_quiet);
    text(g, g.trial);
    text(g, g.charge);
    for (const std::string& line : g.owner_summary) {
      text(g, line);
    }
  }
  for (const ContradictionRule& c : k.contradictions) {
    text(c, c.plain);
    if (c.ask) {
      text(c, c.ask->plain);
    }
  }
  const Settings& s = k.settings;
  for (const std::string* plain :
       {&s.stop, &s.carried, &s.ungraded_plain, &s.unsound_plain, &s.raised_plain, &s.high_plain}) {
    text(k.grades[idx(Grade::U)], *plain);
  }
  for (const ActionRule& a : k.actions) {
    text(a, a.owner_text);
    const auto trained = std::ranges::find_if(
        a.cautions, [&](const std::string& id) { return k.caution(id)->trained_only; });
    if (trained == a.cautions.end()) {
      continue;
    }
    if (a.owner_can) {
      in_rules.push_back({fmt::format("{} is for owners, and {} reserves it for trained people",
                                      place(a), *trained),
                          nullptr});
    }
    // What to do is said first: that sentence sends the owner to a workshop.
    const std::string first = a.owner_text.substr(0, a.owner_text.find_first_of(".!?;"));
    if (!excused(first)) {
      in_rules.push_back(
          {fmt::format("{} tells an owner to do what {} reserves for trained people: {}", place(a),
                       *trained, first),
           nullptr});
    }
  }
  Inspected all = inspect(specimens, spread, [&](const Specimen& one) {
    const Report r = report_on(k, space.model, one.history, Audience::owner);
    return offence_in(nlohmann::json::parse(to_json(r)), never);
  });
  all.states += texts;
  // A rule's own text is shown with the first report that carries it.
  for (Offence& o : in_rules) {
    all.offences.insert(all.offences.begin(), std::move(o));
  }
  return all;
}

std::string plain_report(const Knowledge& knowledge, const Model& model, const History& history) {
  Report r = report_on(knowledge, model, history, Audience::technician);
  // Cautions are shown in the order of the rule data, which is meant.
  std::ranges::sort(r.cautions, {}, &Caution::id);
  for (Action& a : r.actions) {
    std::ranges::sort(a.cautions);
  }
  return to_json(r);
}

Inspected order_is_nothing(const Space& space, const std::vector<Specimen>& specimens,
                           const Reporter& reporter, const Spread& spread) {
  std::vector<Knowledge> shuffled(2, space.knowledge);
  each_list(shuffled[0], [](auto& list) { std::ranges::reverse(list); });
  each_list(shuffled[1], [](auto& list) {
    if (!list.empty()) {
      std::rotate(list.begin(), list.begin() + static_cast<std::ptrdiff_t>((list.size() + 1) / 2),
                  list.end());
    }
  });
  std::ranges::reverse(shuffled[0].cautions);
  const std::vector<Model> models = {Model(shuffled[0]), Model(shuffled[1])};
  Inspected all = inspect(specimens, spread, [&](const Specimen& s) -> std::string {
    const std::string report = reporter(space.knowledge, space.model, s.history);
    if (reporter(shuffled[0], models[0], s.history) != report) {
      return "the report changes when the rules are read in reverse";
    }
    if (reporter(shuffled[1], models[1], s.history) != report) {
      return "the report changes when the rules are read from the middle on";
    }
    if (s.history.records.size() > 1) {
      std::vector<Record> records = s.history.records;
      std::ranges::reverse(records);
      const Result<std::vector<History>> again = group_by_unit(std::move(records));
      if (!again.value || again.value->size() != 1 ||
          reporter(space.knowledge, space.model, again.value->front()) != report) {
        return "the report changes when the records are read in reverse";
      }
    }
    return {};
  });
  all.states *= 3;
  return all;
}

}  // namespace dryshaft::proof

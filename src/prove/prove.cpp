// Carries the argument out, property by property, and cross-checks it.
#include "dryshaft/prove.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "prove/alive.hpp"
#include "prove/argument.hpp"
#include "prove/reports.hpp"
#include "prove/space.hpp"
#include "prove/sweep.hpp"

namespace dryshaft::proof {
namespace {

std::string_view described(Aim aim) {
  switch (aim) {
    case Aim::worse_finding:
      return "a worse finding gives a lower risk or a better grade";
    case Aim::not_observed:
      return "not to observe a finding looks better than its best value";
    case Aim::unchecked_a:
      return "grade A without a check made, dry and clean, or A or B without a recent check";
    case Aim::later_look:
      return "a worse finding is looked at again later";
    case Aim::no_action:
      break;
  }
  return "no action is advised";
}

std::string names_in(std::uint32_t mask, const auto& table) {
  std::vector<std::string_view> names;
  for (const auto& row : table) {
    if ((mask >> idx(row.id) & 1U) != 0) {
      names.push_back(row.name);
    }
  }
  return names.empty() ? "none" : fmt::format("{}", fmt::join(names, ", "));
}

class Prover {
 public:
  Prover(const Knowledge& k, const ProveOptions& options)
      : model_(k), space_(k, model_), options_(options) {
    spread_ = options.spread;
    if (!spread_) {
      spread_ = [](std::size_t count, const std::function<void(std::size_t)>& work) {
        for (std::size_t i = 0; i < count; ++i) {
          work(i);
        }
      };
    }
  }

  std::vector<Property> run() {
    structure_ = structure_of(space_);

    property("structure", "causes and findings fall apart as the argument needs",
             [&](Property& p) { structure(p); });
    property("monotone-risk",
             "a worse value of an ordered finding never lowers the risk (of a noise: where none "
             "was heard before)",
             [&](Property& p) { monotone_risk(p); });
    property("monotone-distance",
             "before a look, more distance, age or time since the last one never lowers the chance "
             "of damage; a stale port check never betters the grade",
             [&](Property& p) { monotone_distance(p); });
    property("monotone-grade",
             "a worse value of an ordered finding never gives a better grade (of a noise: where "
             "none was heard before)",
             [&](Property& p) { monotone_grade(p); });
    property("unknown",
             "not to observe a finding is never better than its best value (of a noise: where none "
             "was heard before)",
             [&](Property& p) { unknown(p); });
    property("checked", "grade A needs a port check made, recent, dry and clean; B a recent one",
             [&](Property& p) { checked(p); });
    property("dates",
             "a worse finding, an older look that saw no leak, a worse grade or faster wear-out "
             "never moves the next look later, and none is beyond the longest interval of its "
             "grade",
             [&](Property& p) { dates(p); });
    property("safety", "no grade is better than the safety floors of the shipped rules allow",
             [&](Property& p) { safety(p); });
    property("complete",
             "each state gets one grade, an action, and the cautions that its actions "
             "need",
             [&](Property& p) { complete(p); });
    property("alive", "no rule is dead, and none names what does not exist",
             [&](Property& p) { alive(p); });
    property("order", "the order of rules and records changes nothing",
             [&](Property& p) { order(p); });
    property("owner", "an owner is never told what a caution reserves for trained people",
             [&](Property& p) { owner(p); });
    property("small-records", "cross-check: neighbours compared one by one by the full model",
             [&](Property& p) { small_records(p); });
    return std::move(properties_);
  }

 private:
  [[nodiscard]] double now() const { return options_.seconds ? options_.seconds() : 0; }
  void tell(std::string_view id) const {
    if (options_.progress) {
      options_.progress(id);
    }
  }
  [[nodiscard]] const Knowledge& knowledge() const { return space_.knowledge; }

  template <typename Work>
  void property(std::string id, std::string claim, const Work& work) {
    if (!options_.only.empty() && std::ranges::find(options_.only, id) == options_.only.end()) {
      return;
    }
    tell(id);
    Property p;
    p.id = std::move(id);
    p.claim = std::move(claim);
    const double start = now();
    work(p);
    p.seconds = now() - start;
    properties_.push_back(std::move(p));
  }

  // -------------------------------------------------------------- flaws

  [[nodiscard]] std::string shown(const Draft& d) const {
    const Verdict v = space_.judge(d);
    return fmt::format("grade {}, risk {:.4g}", name(v.grade), v.posterior.risk);
  }
  [[nodiscard]] std::string shown(const Draft& d, Aim aim) const {
    if (aim != Aim::later_look) {
      return shown(d);
    }
    const NextLook next = next_look(space_, space_.realize(d), space_.judge(d));
    return fmt::format(
        "{}, {}", shown(d),
        next.km ? fmt::format("looked at again within {:g} km or {:g} days", *next.km, *next.days)
                : std::string("work first"));
  }

  [[nodiscard]] Flaw flaw_of(const Breach& b, std::string what) const {
    Flaw flaw;
    flaw.what = std::move(what);
    flaw.record = record_of(knowledge(), space_.realize(b.bad)).value_or("");
    flaw.shows = shown(b.bad, b.aim);
    if (b.than) {
      flaw.compared = record_of(knowledge(), space_.realize(*b.than)).value_or("");
      flaw.shows += fmt::format("; compared: {}", shown(*b.than, b.aim));
    }
    return flaw;
  }

  // Judges a claim by its steps; where one fails, by the smallest state that
  // breaks the claim, if the search finds one.
  void conclude(Property& p, const std::vector<Step>& steps, const std::vector<Aim>& aims) {
    std::vector<std::string> failures;
    for (const Step& s : steps) {
      p.states += s.states;
      failures.insert(failures.end(), s.failures.begin(), s.failures.end());
    }
    const bool argued = failures.empty();
    for (const Aim aim : aims) {
      const std::optional<Breach>& b = argued ? std::nullopt : searched(aim);
      if (b) {
        p.outcome = Proof::broken;
        p.flaws.push_back(flaw_of(*b, std::string(described(aim))));
      }
    }
    if (p.outcome == Proof::held && !argued) {
      p.outcome = Proof::not_proven;
    }
    for (std::string& f : failures) {
      p.flaws.push_back({std::move(f), {}, {}, {}});
    }
  }

  const std::optional<Breach>& searched(Aim aim) {
    std::optional<std::optional<Breach>>& found = searched_[idx(aim)];
    if (!found) {
      found = smallest_breach(space_, aim, spread_);
    }
    return *found;
  }

  [[nodiscard]] Step premises() const {
    Step s;
    for (const std::string& obstacle : structure_.obstacles) {
      s.fail(obstacle);
    }
    return s;
  }

  // --------------------------------------------------------- properties

  void structure(Property& p) {
    const std::string stages =
        "stages in order: what reaches the tip never falls from stage to stage, and harm never "
        "slows.";
    const std::string order =
        "transitions keep order: a core is a stage of the seal with what has come of bearings and "
        "insulation. Over three distances, with the seal wearing and not, each of the 36 cores "
        "goes only to cores as bad; for every set of cores that holds with each all that are as "
        "bad, a worse core is no less likely to end in it, to within 0.0001, as exact as the "
        "tables.";
    const std::string asked =
        "floors, \"ungraded\" and \"sound\" ask for findings, situations and the band of the risk, "
        "never for the probability of one cause.";
    p.argument = {
        fmt::format("damaging causes: {}; a leak brings about all of them or none, and the other "
                    "causes come on their own, so before evidence the two groups are independent: "
                    "looked at in the process for every configuration and distance.",
                    names_in(structure_.damaging, causes())),
        stages,
        order,
        fmt::format("findings that depend on damaging causes alone: {}.",
                    names_in(structure_.pure, findings())),
        fmt::format("findings that bear on other causes too, with those they describe (\"mixed\"): "
                    "{}.",
                    names_in(structure_.mixed, findings())),
        asked};
    conclude(p,
             {premises(), groups_apart(space_), stages_in_order(knowledge()),
              process_keeps_order(space_)},
             {});
    p.states += structure_.states;
  }

  void monotone_risk(Property& p) {
    p.argument = {
        "a finding on damaging causes alone: for each of the 64 states S, with each breakdown that "
        "it can hold, and levels l < l', P(l'|S) P(l|none) >= P(l|S) P(l'|none). Without damage "
        "its chance is that of the background, and a leak that does not show changes nothing, so "
        "each term of the odds of damage grows with the level, whatever was believed before this "
        "look and whatever else is seen, of a breakdown or without a word of it.",
        "in an earlier look too, where no work and no bypass has ended a cause since: nothing "
        "heals, so a unit without damage now had none then, and the level enters every course "
        "without damage by the background alone.",
        "a mixed finding: next to every joint level of the others and in each pair of states of "
        "the other causes, for every belief in which these are independent of damage. So it is in "
        "units never looked at before, however far they ran, and after looks that told of damage "
        "alone, of other causes alone, or of no noise. Not covered: a noise heard at an earlier "
        "look. What has come to account for that one may account for the next, so that to hear it "
        "again can lower the risk.",
        fmt::format("findings that only explain ({}) may lower the risk: what accounts for a noise "
                    "takes suspicion off the rest. The grade goes by the risk without them, for "
                    "which the same is enumerated again.",
                    names_in(structure_.explaining, findings()))};
    conclude(p, {premises(), pure_rises(space_, structure_), mixed_rises(space_, structure_)},
             {Aim::worse_finding});
  }

  void monotone_distance(Property& p) {
    p.argument = {
        "the wear-out hazard rises with distance and age, and nothing heals, so damage at a look "
        "is damage for good, and more may come. Tried for a unit never looked at, at each distance "
        "below, in every configuration, at ten ages of each.",
        "this is what is believed before the newest look. That look itself can lower the risk the "
        "more the longer the unit has run: one that still runs, or turns freely, has not broken "
        "down, and a noise has more that may account for it.",
        "a stale check is graded no better than a fresh one: every value of all that the floors "
        "and verdicts that mention it mention."};
    conclude(p,
             {premises(), wear_rises(space_), process_keeps_order(space_),
              floors_with_older_look(space_)},
             {});
  }

  void monotone_grade(Property& p) {
    p.argument = {
        "raising a finding changes only the floors that mention it. For each ordered finding: "
        "every value of all findings and situations that these floors, \"ungraded\" and \"sound\" "
        "mention, next to the worst of all other floors (none, B, C, D) and each pair of risk "
        "bands that does not fall (monotone-risk; findings that only explain leave the band as it "
        "is), through the function that grades."};
    conclude(p, {premises(), floors_rise(space_)}, {Aim::worse_finding});
  }

  void unknown(Property& p) {
    p.argument = {
        "risk: each harmless level, and some level of each finding that has no order, is no more "
        "likely with damage or a breakdown than without it, so to leave it out never lowers the "
        "odds of damage, whatever was believed before; for mixed findings, next to every joint "
        "level of the others, where other causes are independent of damage as in monotone-risk.",
        "a finding that only explains, next to anything: the risk without it is the mean of the "
        "risks with each of its levels, so one of them at least is no higher.",
        "grade: with that value known or not, over every value of what the floors concerned "
        "mention, as above. Without the liquid on record the port counts as not checked."};
    BestLevels best{};
    const Step pure = pure_unknown(space_, structure_, best);
    const Step mixed = mixed_unknown(space_, structure_, best);
    conclude(p, {premises(), pure, mixed, floors_unknown(space_, best)}, {Aim::not_observed});
  }

  void checked(Property& p) {
    p.argument = {
        "the last step of grading, over all its arguments, gives A only where \"sound\" holds, no "
        "floor does and \"ungraded\" does not, and B only where \"ungraded\" does not.",
        "\"sound\" implies a fresh check, no liquid, no residue, no rust and no chips, and "
        "\"ungraded\" every check that is not fresh: every value of all that they mention."};
    conclude(p, {sound_means_clean(space_)}, {Aim::unchecked_a});
  }

  void dates(Property& p) {
    p.argument = {
        "a date is a function of grade, of how far damage is unlikely to have begun, and of advice "
        "to look again. Every grade and every step of distance: none is beyond the longest "
        "interval of its grade, a worse grade waits no longer, and damage that comes sooner never "
        "makes a date later. Every value of what that advice mentions, in each grade and every "
        "worse one: a worse level is asked for no later.",
        "how far damage is unlikely counts from a look in which there was none. Where no work has "
        "ended harm since, there was none before either, and the seal goes alone through its "
        "stages, one after the other, and drops out as harm begins, no more slowly in a later "
        "stage. Such a chain keeps the order of likelihood ratios over every way, whatever the "
        "pace of wear-out (Karlin 1968, from memory); the compiled one over three distances, to "
        "within 0.0001.",
        std::string(
            "in such a unit each level of each finding tells of the leak or of what comes without "
            "one, never of both together, and a worse level tells no less for a leak: for all "
            "rests and pairs of levels. So a worse level in this look, or in any before it, moves "
            "the stages up in that order, and damage comes no later."),
        std::string("wear-out that is faster by one factor makes earlier leaks likelier against "
                    "later ones, and all against none: the stages move up in the same order."),
        fmt::format("the same look, longer ago: for each pair of stages, for every look that tells "
                    "no more for a leak than against it, for each step of distance and the pace of "
                    "wear-out up to {:g} km and {:g} years, the chance that none is harmed until "
                    "then does not rise. Dates come in steps of {:g} km and {:g} days from the "
                    "look, so they may move by less than a step.",
                    kOldestKm, kOldestYears, kLookStepKm, kLookStepDays),
        std::string(
            "not proven, and not claimed: findings before work that ended harm; findings of looks "
            "after the last one at the port; an older look that tells for a leak (the younger it "
            "is, "
            "the longer the leak had time to come before it); the limit of a first check, which "
            "asks "
            "for the probability of a leak; hazards of another form, such as a shop's own table.")};
    conclude(p,
             {premises(), stages_in_order(knowledge()), intervals_in_order(space_),
              unharmed_seal_in_order(space_), unharmed_looks_apart(space_),
              looks_asked_in_order(space_), older_look_no_later(space_)},
             {Aim::later_look});
    const Sweep found = sweep(
        space_,
        {.findings = 1, .configurations = space_.configurations.few, .aims = only(Aim::later_look)},
        spread_);
    p.states += found.states;
    if (const std::optional<Breach>& b = found.smallest[idx(Aim::later_look)];
        b && p.outcome == Proof::held) {
      p.outcome = Proof::broken;
      p.flaws.push_back(flaw_of(shrunk(space_, *b), std::string(described(b->aim))));
    }
  }

  void safety(Property& p) {
    p.argument = {
        "as the rules are read: for each safety floor of the shipped rules, every value of what it "
        "and the floors as bad as it mention, so that wherever it holds one of those does; and "
        "the same for the condition that leaves a unit ungraded. What is missing is added, so it "
        "holds all the same; but the rules do not say it."};
    p.states = 1;
    for (const std::string& id : knowledge().unsafe) {
      p.outcome = Proof::broken;
      p.flaws.push_back({fmt::format("\"{}\" is left out or weakened", id), {}, {}, {}});
    }
  }

  void complete(Property& p) {
    p.argument = {
        "one grade: grading is a function.",
        "an action: for each situation and each grade that can be given in it, some advice holds "
        "that asks for nothing else.",
        "cautions: reports for both readers on worded records hold every caution that their "
        "actions and checks name and that applies."};
    conclude(p, {always_an_action(space_)}, {Aim::no_action});
    add(p, cautions_complete(space_, worded(), spread_));
  }

  void alive(Property& p) {
    p.argument = {
        "each floor decides somewhere: it holds, and no other floor as bad does; each advice, "
        "check, outlook, caution and grade is met by some state, found by search over what it "
        "mentions; each action is advised or a check; each caution is needed; each link moves its "
        "cause by 0.05 dB or more; each background has a link. Names are resolved when the rules "
        "are read.",
        "what the search does not find is dead where it fails for every value of all that it "
        "mentions, whatever else is observed and however far the unit has run; else it is not "
        "proven to be alive."};
    const Alive found = find_dead(space_, spread_);
    p.states = found.states;
    for (const Dead& d : found.dead) {
      if (d.sure) {
        p.outcome = Proof::broken;
      } else if (p.outcome == Proof::held) {
        p.outcome = Proof::not_proven;
      }
      Flaw flaw{d.what, {}, {}, {}};
      if (d.seen) {
        flaw.record = record_of(knowledge(), space_.realize(*d.seen)).value_or("");
        flaw.shows = shown(*d.seen);
      }
      p.flaws.push_back(std::move(flaw));
    }
  }

  void order(Property& p) {
    p.argument = {
        "reports on worded records are the same bytes with every list of rules reversed, with it "
        "read from the middle on, and with the records of a unit reversed. Cautions are shown in "
        "the order of the rule data, which is meant, and are compared as a set."};
    add(p, order_is_nothing(space_, worded(), plain_report, spread_));
  }

  void owner(Property& p) {
    p.argument = {
        "no text for owners in the rule data, and no text of an owner's report on a worded record, "
        "holds a phrase that a caution lists in \"owner_never\", save in a sentence that forbids "
        "it "
        "or sends to a workshop; an action that such a caution covers is never one for owners, and "
        "its text for owners begins by asking a workshop."};
    add(p, owner_texts(space_, worded(), spread_));
  }

  void small_records(Property& p) {
    p.argument = {fmt::format(
        "up to two findings at every level, alone, on a port seen dry, and on one seen dry and "
        "clean, with {} configurations, {} ages of the look and {} distances, each threshold from "
        "both sides. What is seen of an old look stands in the course.",
        space_.configurations.few, space_.looks.size(), space_.distances.size())};
    const Sweep found = sweep(space_, {.configurations = space_.configurations.few}, spread_);
    p.states = found.states;
    for (const std::optional<Breach>& b : found.smallest) {
      if (b) {
        p.outcome = Proof::broken;
        p.flaws.push_back(flaw_of(*b, std::string(described(b->aim))));
      }
    }
  }

  // ------------------------------------------------------------- reports

  const std::vector<Specimen>& worded() {
    if (specimens_.empty()) {
      specimens_ = specimens(space_, 2, spread_);
    }
    return specimens_;
  }

  void add(Property& p, const Inspected& found) {
    p.states += found.states;
    if (found.states == 0) {
      p.outcome = Proof::not_proven;
      p.flaws.push_back({"no state could be worded as a record", {}, {}, {}});
    }
    for (const Offence& o : found.offences) {
      p.outcome = Proof::broken;
      Flaw flaw{o.what, {}, {}, {}};
      if (o.specimen != nullptr) {
        flaw.record = o.specimen->lines;
        flaw.shows = shown(o.specimen->draft);
      }
      p.flaws.push_back(std::move(flaw));
    }
  }

  Model model_;
  Space space_;
  const ProveOptions& options_;
  Spread spread_;
  Structure structure_;
  std::array<std::optional<std::optional<Breach>>, kAimCount> searched_;
  std::vector<Specimen> specimens_;
  std::vector<Property> properties_;
};

}  // namespace
}  // namespace dryshaft::proof

namespace dryshaft {

std::string_view name(Proof proof) {
  switch (proof) {
    case Proof::held:
      return "held";
    case Proof::broken:
      return "BROKEN";
    case Proof::not_proven:
      break;
  }
  return "not proven";
}

std::vector<Property> prove(const Knowledge& knowledge, const ProveOptions& options) {
  return proof::Prover(knowledge, options).run();
}

bool all_held(const std::vector<Property>& properties) {
  return !properties.empty() && std::ranges::all_of(properties, [](const Property& p) {
    return p.outcome == Proof::held;
  });
}

}  // namespace dryshaft

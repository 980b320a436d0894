// A plan as blocks of a document: for the workshop, and as a quotation for an owner.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/sentence.hpp"
#include "decide/wording.hpp"
#include "dryshaft/plan.hpp"
#include "plan/pages.hpp"
#include "report/document.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

using document::Document;
using document::Heading;
using document::Lead;
using document::Paragraph;
using document::Table;
using document::Title;
using plan::amount;
using plan::amounts;
using plan::kOwnerDigits;
using plan::kWorkshopDigits;

constexpr std::size_t kSourcesShown = 3;
constexpr std::size_t kSwingsShown = 5;

class PlanPage {
 public:
  PlanPage(const Plan& plan, Units units) : p_(plan), r_(plan.report), units_(units) {}

  Document document() {
    if (r_.audience == Audience::owner) {
      quotation();
    } else {
      for_workshop();
    }
    return std::move(d_);
  }

 private:
  void heading(std::string text) { d_.emplace_back(Heading{std::move(text)}); }
  void say(std::string text) { d_.emplace_back(Paragraph{std::move(text)}); }
  void item(std::string text, std::vector<std::string> below = {}) {
    d_.emplace_back(document::Item{0, std::move(text), std::move(below)});
  }
  void cautions(std::string head) {
    heading(std::move(head));
    for (const Caution& c : p_.cautions) {
      item(c.text);
    }
  }
  [[nodiscard]] std::string money(double value) const {
    return fmt::format("{} {}", amount(value, kWorkshopDigits), p_.currency);
  }
  [[nodiscard]] std::string horizon() const {
    const double years = p_.horizon_km / p_.km_per_year;
    return fmt::format("{} {} ({:.2g} {})", words::limit(p_.horizon_km, units_),
                       words::unit_name(units_), years, years == 1 ? "year" : "years");
  }
  [[nodiscard]] const PlanOption* at(std::size_t place) const {
    return place < p_.options.size() && p_.options[place].allowed ? &p_.options[place] : nullptr;
  }

  // "Before any further driving and within 7 days: Identify the liquid."
  [[nodiscard]] std::string asked(const Action& action) const {
    const std::string when = action.overdue ? "overdue"
                                            : words::deadline(action.within_km, action.within_days,
                                                              units_, r_.whereabouts);
    return when.empty() ? action.text : fmt::format("{}: {}", sentence_case(when), action.text);
  }
  // Whether a look comes before work is chosen.
  [[nodiscard]] bool looks_first() const {
    return std::ranges::any_of(p_.first, &PlanFirst::looks);
  }
  // Why an option is not allowed; of work that it would put off, also by when that is wanted.
  [[nodiscard]] std::string why_not(const PlanReason& reason) const {
    const std::string when =
        words::deadline(reason.within_km, reason.within_days, units_, r_.whereabouts);
    const std::string why = sentence_case(reason.text);
    return reason.overdue ? fmt::format("Work that the rules require is overdue. {}", why)
           : when.empty() ? why
                          : fmt::format("The rules require work {}. {}", when, why);
  }

  // To the first recheck, as the report has it.
  [[nodiscard]] std::string first_recheck(const PlanCost& cost) const {
    return r_.recheck.overdue ? "now: it is overdue"
                              : words::deadline(cost.interval_km, cost.interval_days, units_);
  }
  // What the best decisions make of a clean recheck, where that is not to wait on.
  [[nodiscard]] std::string then(const PlanCost& cost) const {
    const PlanOption* next = p_.option(cost.then_if_clean);
    return next == nullptr ? std::string() : fmt::format("; if clean, {}", next->title);
  }

  // ------------------------------------------------------- for the workshop

  void for_workshop() {
    d_.emplace_back(Title{fmt::format("Plan for {}", r_.unit_id), plan::unit_line(r_, units_)});
    document::add_reservations(d_, r_);
    cautions("Before any work");
    d_.emplace_back(Lead{fmt::format("Grade {}", name(r_.grade)),
                         closed(sentence_case(r_.grade_meaning)), r_.grade});
    for (const PlanFirst& first : p_.first) {
      std::string text = asked(first.action);
      if (first.minutes > 0) {
        text += fmt::format(" About {:g} minutes, {}.", first.minutes, money(first.cost));
      }
      if (first.looks) {
        text += " " + closed(sentence_case(first.action.because));
      }
      d_.emplace_back(
          Lead{&first == &p_.first.front() ? "First" : "And", std::move(text), std::nullopt});
    }
    if (const PlanOption* best = at(0)) {
      d_.emplace_back(Lead{"Cheapest",
                           fmt::format("{}: {} expected over {}{}.", sentence_case(best->title),
                                       money(best->cost->expected), horizon(),
                                       !looks_first() || best->role == OptionRole::look_first
                                           ? ""
                                           : ", before the result of that check is known"),
                           std::nullopt});
    }
    if (p_.close && at(1) != nullptr) {
      d_.emplace_back(Lead{"Close",
                           fmt::format("The next, {}, costs {} more. The estimates behind both are "
                                       "too rough to separate them.",
                                       at(1)->title, money(p_.difference)),
                           std::nullopt});
    }
    options();
    beside();
    barred();
    difference();
    how_sure();
    turning();
    worked_out();
  }

  void options() {
    heading(fmt::format("Your options over {}, in {}", horizon(), p_.currency));
    Table table;
    table.columns = {{"expected", Table::Fit::whole, true, false, 0},
                     {"10 %", Table::Fit::whole, true, false, 0},
                     {"90 %", Table::Fit::whole, true, false, 0},
                     {"lost", Table::Fit::whole, true, false, 0},
                     {"option", Table::Fit::wrap, false, false, 20, true}};
    for (const PlanOption& o : p_.options) {
      if (!o.cost) {
        continue;
      }
      std::string title = o.title;
      if (o.cost->interval_km) {
        title += fmt::format(" (first {}{})", first_recheck(*o.cost), then(*o.cost));
      } else if (!o.cost->variant.empty()) {
        title += o.cost->variant == "whole-unit" ? " (here: the unit)" : " (here: parts)";
      }
      table.rows.push_back({amount(o.cost->expected, kWorkshopDigits),
                            amount(o.cost->low, kWorkshopDigits),
                            amount(o.cost->high, kWorkshopDigits),
                            words::short_percent(o.cost->chance_lost), title});
    }
    d_.emplace_back(std::move(table));
    say(
        fmt::format("Choose one. Its cost includes the best decisions at later checks. In one "
                    "simulated case in ten the cost is below the 10 % column, in one above the 90 "
                    "% column. Lost: broken down on the road, or beyond repair when opened. {}",
                    if_nothing()));
  }

  [[nodiscard]] std::string if_nothing() const {
    if (p_.stands) {
      return "This unit has already broken down. If nothing is done, it stays where it is.";
    }
    return fmt::format("{} {} of such units break down.",
                       r_.grade == Grade::D ? "If driven all the same, without checks or work,"
                                            : "Without checks or work,",
                       words::percent(p_.lost_if_nothing));
  }

  void beside() {
    for (const PlanOption& o : p_.beside) {
      if (o.allowed) {
        heading("In addition");
        item(fmt::format("{}: {}, days out of use included.", sentence_case(o.title),
                         money(o.cost->expected)),
             {closed(sentence_case(o.effect)),
              "This work does not stop a leak. It changes no probability above, so it is not "
              "compared with the options. A rebuild replaces these bearings too."});
      }
    }
  }

  void barred() {
    bool first = true;
    for (const PlanOption& o : p_.options) {
      if (o.allowed || o.role == OptionRole::look_first) {  // that one is only not called for
        continue;
      }
      if (first) {
        heading("Not allowed, whatever it costs");
        first = false;
      }
      std::vector<std::string> why;
      for (const PlanReason& reason : o.barred) {
        why.push_back(fmt::format("{} ({})", why_not(reason), reason.id));
      }
      item(sentence_case(o.title), std::move(why));
    }
  }

  void difference() {
    const PlanOption* best = at(0);
    const PlanOption* second = at(1);
    if (second == nullptr) {
      return;
    }
    heading("Where the difference comes from");
    say(fmt::format("{} costs {} more than {}:", sentence_case(second->title), money(p_.difference),
                    best->title));
    std::size_t shown = 0;
    double rest = p_.difference;
    for (const auto& [spending, more] : p_.sources) {
      if (std::abs(more) < 1 || shown == kSourcesShown) {
        break;
      }
      ++shown;
      std::size_t i = 0;
      while (spending_name(i) != spending) {
        ++i;
      }
      rest -= more;
      item(fmt::format("{}: {} {}", spending_title(i), money(std::abs(more)),
                       more > 0 ? "more" : "less"));
    }
    if (std::abs(rest) >= 1) {
      item(fmt::format("all else: {} {}", money(std::abs(rest)), rest > 0 ? "more" : "less"));
    }
  }

  [[nodiscard]] std::string against(double difference) const {
    return difference < 0 ? fmt::format("{} cheaper", amount(-difference, kWorkshopDigits))
                          : fmt::format("{} dearer", amount(difference, kWorkshopDigits));
  }

  void how_sure() {
    if (p_.swings.empty()) {
      return;
    }
    heading("How sure");
    say(p_.close ? "The order of the best two can change within the ranges of these values:"
                 : "No single value within its range changes the order of the best two. These "
                   "matter most:");
    Table table;
    table.columns = {{"at its low end", Table::Fit::whole, true, false, 0},
                     {"at its high end", Table::Fit::whole, true, false, 0},
                     {"uncertain value", Table::Fit::wrap, false, false, 20, true}};
    for (std::size_t i = 0; i < std::min(kSwingsShown, p_.swings.size()); ++i) {
      const PlanSwing& s = p_.swings[i];
      table.rows.push_back({against(s.difference_low), against(s.difference_high), s.title});
    }
    d_.emplace_back(std::move(table));
    say(
        fmt::format("The columns give the cost of the second best against the best. Each value is "
                    "changed alone: an estimate by its odds factor, a price to its ends. Together "
                    "they change the difference by about {}.",
                    money(p_.judgement)));
  }

  void turning() {
    const PlanOption* second = at(1);
    if (second == nullptr || p_.swings.empty()) {
      return;
    }
    heading("What would make the next best cheaper");
    if (p_.thresholds.empty()) {
      say(
          fmt::format("No price within a factor of five, and no probability of a leak, makes this "
                      "option cheaper: {}.",
                      second->title));
      return;
    }
    say(fmt::format("{} would be cheaper with", sentence_case(second->title)));
    for (const PlanThreshold& t : p_.thresholds) {
      const auto value = [&](double v) { return t.is_price ? money(v) : words::percent(v); };
      item(fmt::format("{} {} {} (now {}){}", t.title, t.below ? "below" : "above", value(t.at),
                       value(t.now), t.verified ? "" : ", not confirmed by a new calculation"));
    }
  }

  void worked_out() {
    heading("How this was calculated");
    double gap = 0;
    double coarser = 0;
    if (const PlanOption* best = at(0)) {
      gap = best->cost->expected - best->cost->at_least;
      coarser = std::abs(best->cost->expected - best->cost->coarser);
    }
    say(fmt::format(
        "Probabilities now: dry {}, leaking {}, damaged {}. Decisions are made at multiples of {}, "
        "over {} states of knowledge. Every cost is that of a policy that can be followed. For the "
        "cheapest option, no policy costs less by more than {}. A grid half as fine gives a "
        "difference of {}. The spread comes from {} simulated cases.",
        words::percent(p_.dry), words::percent(p_.leaking), words::percent(p_.damaged),
        words::distance(p_.step_km, units_), grouped(static_cast<double>(p_.beliefs)),
        money(std::max(0.0, gap)), money(coarser), grouped(static_cast<double>(p_.lives))));
    say("A leak or damage left at the end is charged with its repair. Every figure includes labour "
        "and days out of use. Interest and the nuisance of a noise are not included.");
    say(fmt::format(
        "As of {}. dryshaft {}. {} Prices {}. The decision stays with a qualified technician.",
        r_.as_of, r_.tool_version, document::rules_used(r_), p_.prices_source));
  }

  // ------------------------------------------------------------ for an owner

  [[nodiscard]] std::string range(double low, double high) const {
    return fmt::format("{} {}", amounts(low, high, kOwnerDigits), p_.currency);
  }

  // The options beside each other, the cheapest first, with a bar for what each costs in total.
  void what_they_cost() {
    document::Table table;
    table.columns = {{"first bill", document::Table::Fit::whole, true, false, 0},
                     {"in total", document::Table::Fit::whole, true, false, 0},
                     {"unit lost", document::Table::Fit::whole, false, false, 0},
                     {"option", document::Table::Fit::wrap, false, false, 24, true}};
    double most = 0;
    for (const PlanOption& o : p_.options) {
      most = std::max(most, o.cost ? o.cost->high : 0);
    }
    std::vector<document::Bar> bars;
    for (const PlanOption& o : p_.options) {
      if (!o.cost) {
        continue;
      }
      const std::string total = amounts(o.cost->low, o.cost->high, kOwnerDigits);
      table.rows.push_back({amounts(o.cost->bill_low, o.cost->bill_high, kOwnerDigits), total,
                            out_of_ten(o.cost->chance_lost), o.title});
      bars.push_back({o.title,
                      total,
                      most > 0 ? o.cost->high / most : 0,
                      {},
                      true,
                      most > 0 ? o.cost->low / most : 0});
    }
    d_.emplace_back(std::move(table));
    say(fmt::format(
        "In {}. First bill: by the workshop's lowest and highest prices. In total: over "
        "{}, for eight of ten such cars, with later repairs and days without the car.",
        p_.currency, horizon()));
    std::ranges::move(bars, std::back_inserter(d_));
  }

  // "about 3 in 10"
  static std::string out_of_ten(double chance) {
    constexpr double kHundred = 100;
    if (chance < 0.5 / kHundred) {
      return "hardly any";
    }
    if (chance < 0.095) {
      return fmt::format("about {:.0f} in 100", std::round(chance * kHundred));
    }
    const double tenths = std::round(chance * 10);
    return tenths >= 10 ? "nearly all" : fmt::format("about {:.0f} in 10", tenths);
  }

  void quotation() {
    d_.emplace_back(Title{"What can be done, and what it may cost", plan::unit_line(r_, units_)});
    document::add_reservations(d_, r_);
    cautions("For your safety");
    d_.emplace_back(Lead{"State", closed(sentence_case(r_.grade_meaning)), r_.grade});
    for (std::size_t i = 0; i < r_.owner_summary.size() && i < 2; ++i) {
      say(r_.owner_summary[i]);
    }
    heading("First");
    for (const PlanFirst& first : p_.first) {
      std::string text = asked(first.action);
      if (first.minutes > 0) {
        text += fmt::format(" It costs about {}.", range(first.cost, first.cost));
      }
      if (first.looks) {
        text += " " + closed(sentence_case(first.action.because));
      }
      say(std::move(text));
    }
    if (looks_first()) {
      say("The options below use what is known before that. Choose none of them until it is done.");
    }
    heading("Your options: choose one");
    what_they_cost();
    for (const PlanOption& o : p_.options) {
      if (o.cost) {
        const bool opens =
            (o.role == OptionRole::rebuild || o.role == OptionRole::rebuild_and_bypass) &&
            r_.grade != Grade::A;
        item(
            fmt::format("{}: {}{}{}", o.title, closed(o.effect),
                        o.cost->interval_km
                            ? fmt::format(" The first recheck is due {}.", first_recheck(*o.cost))
                            : std::string(),
                        opens ? " If more damage is found inside, the first bill is higher." : ""));
      }
    }
    for (const PlanOption& o : p_.beside) {
      if (o.allowed) {
        heading("In addition");
        item(fmt::format("{}: {}.", o.title,
                         amounts(o.cost->bill_low, o.cost->bill_high, kOwnerDigits)),
             {o.effect, "A rebuild of the unit includes this work."});
      }
    }
    bool first = true;
    for (const PlanOption& o : p_.options) {
      if (!o.allowed && o.role != OptionRole::look_first) {
        if (first) {
          heading("Not possible here, and why");
          first = false;
        }
        const PlanReason& why = o.barred.front();
        const std::string due =
            words::deadline(why.within_km, why.within_days, units_, r_.whereabouts);
        item(fmt::format("{}.", o.title),
             {why.overdue   ? fmt::format("Work is overdue. {}", why.text)
              : due.empty() ? why.text
                            : fmt::format("Work is due {}. {}", due, why.text)});
      }
    }
    heading("If nothing is done");
    if (p_.stands) {
      say("The drive unit has already broken down. It stays as it is until something is done. "
          "Standing wet makes it worse.");
    } else {
      say(
          fmt::format("{} such drive units would break down within {}{}. A breakdown costs about "
                      "{}, including towing and another unit.",
                      sentence_case(out_of_ten(p_.lost_if_nothing)), horizon(),
                      r_.grade == Grade::D ? ", if they were driven all the same" : "",
                      range(p_.loss_low, p_.loss_high)));
    }
    heading("How sure this is");
    const bool opened = std::ranges::any_of(r_.observed, [](const Observation& o) {
      return *finding_named(o.finding) >= Finding::opened_seal_leak;
    });
    say(
        fmt::format("{}These are chances from what was seen and heard, not a promise. Treat two "
                    "prices that lie close together as equal.",
                    opened ? "" : "The unit has not been opened. "));
    if (p_.close && at(1) != nullptr) {
      say("As far as can be told, the first two options cost the same. Choose the one that suits "
          "you.");
    }
    say(
        fmt::format("dryshaft {}, a screening aid. Only a workshop that has inspected the car can "
                    "make a binding quotation.",
                    r_.tool_version));
  }

  const Plan& p_;
  const Report& r_;
  Units units_;
  Document d_;
};

}  // namespace

std::string plan_to_text(const Plan& plan, const TextStyle& style) {
  return document::in_text(PlanPage(plan, style.units).document(), style);
}

std::string plan_to_markdown(const Plan& plan, Units units) {
  return document::in_markdown(PlanPage(plan, units).document());
}

std::string plans_to_html(const std::vector<Plan>& plans, Units units) {
  std::vector<std::pair<std::string, Document>> documents;
  documents.reserve(plans.size());
  for (const Plan& plan : plans) {
    documents.emplace_back(plan.report.unit_id, PlanPage(plan, units).document());
  }
  return to_html(plan::page(
      plans.size() == 1 ? fmt::format("Plan for {}", plans.front().report.unit_id) : "Plans",
      documents));
}

}  // namespace dryshaft

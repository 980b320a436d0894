// Puts the report together: everything a reader sees is decided and worded here.
#include "decide/assess.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <functional>
#include <numeric>
#include <set>
#include <stdexcept>
#include <tuple>
#include <utility>

#include "base/index.hpp"
#include "base/odds.hpp"
#include "base/promise.hpp"
#include "base/sentence.hpp"
#include "base/sha256.hpp"
#include "decide/dates.hpp"
#include "decide/orders.hpp"
#include "decide/photos.hpp"
#include "decide/story.hpp"
#include "decide/wording.hpp"
#include "diagnose/ahead.hpp"
#include "knowledge/condition.hpp"
#include "record/look.hpp"
#include "record/own.hpp"

#ifndef DRYSHAFT_VERSION
#error "the build passes DRYSHAFT_VERSION"
#endif

namespace dryshaft {
namespace {

constexpr double kLeastDecibans = 0.05;  // prints as 0.1
constexpr double kLikely = 0.5;
constexpr double kWorthNaming = 0.2;
constexpr double kMoved = 1.25;  // odds, a deciban: less is next to nothing

// "a", "a and b", "a, b and c"
std::string listed(const std::vector<std::string>& items, std::string_view last) {
  std::string text = items.front();
  for (std::size_t i = 1; i < items.size(); ++i) {
    text += i + 1 < items.size() ? ", " + items[i] : fmt::format(" {} {}", last, items[i]);
  }
  return text;
}

// Rules that tie stand in the order of their words: neither their place nor what they are called
// changes a report.
std::pair<std::string_view, std::string_view> by_words(const Item& item, std::string_view words) {
  return {words, item.id};
}

class Assessor {
 public:
  Assessor(const History& history, const Knowledge& k, const Model& model,
           const AssessOptions& options, const Judgements* judged)
      : history_(history),
        k_(k),
        model_(model),
        options_(options),
        judged_(judged),
        newest_(history.records.back()),
        orders_(k, history.records) {}

  Report report() {
    const int date = static_cast<int>(newest_.at(Field::date).number);
    today_ = options_.today.value_or(date);
    seen_ = present(history_, history_.records.size(), k_, today_);
    prior_ = model_.prior(seen_.facts);
    verdict_ = judge(k_, model_, seen_.facts, prior_);
    facts_ = facts_of(seen_.facts, verdict_);
    identity();
    r_.warnings = k_.reservations;
    r_.warnings.insert(r_.warnings.end(), seen_.warnings.begin(), seen_.warnings.end());
    if (const std::size_t earlier = history_.records.size() - 1; earlier > kGradedAgain) {
      r_.warnings.push_back(fmt::format(
          "{} earlier inspections are on record under this id: all count, and the {} newest are "
          "graded again",
          earlier, kGradedAgain));
    }
    grade();
    foresee();
    if (judged_ != nullptr) {
      r_.how_sure = how_sure(k_, model_, *judged_, seen_.facts, prior_, verdict_, &r_.prognosis);
    }
    observations();
    causes();
    contradictions();
    r_.history = story_of(history_, k_, model_, seen_, verdict_,
                          [&](std::size_t i, const Presentation& then, const Verdict& v) {
                            orders_.look(i, then, facts_of(then.facts, v));
                          });
    left_care();
    recheck();
    leak_along();
    comebacks();
    actions();
    r_.next_checks = next_checks(k_, model_, seen_.facts, prior_, verdict_, options_.audience);
    r_.would_change = would_change(k_, model_, seen_.facts, prior_, verdict_);
    outlook();
    cautions();
    headline();
    if (owner()) {
      summary();
    }
    return std::move(r_);
  }

 private:
  [[nodiscard]] bool owner() const { return options_.audience == Audience::owner; }
  [[nodiscard]] const std::string& for_reader(const std::string& technician,
                                              const std::string& plain) const {
    return owner() ? plain : technician;
  }
  [[nodiscard]] const Case& facts() const { return seen_.facts; }

  void identity() {
    r_.as_of = date_text(today_);
    r_.tool_version = DRYSHAFT_VERSION;
    r_.rules_id = k_.id;
    r_.rules_version = k_.version;
    r_.rules_sha256 = k_.rules_sha256;
    r_.rules_overlay = k_.overlay;
    r_.rules_reservations = k_.reservations;
    if (k_.onset) {
      r_.onset = {k_.onset->source, k_.onset->sha256, k_.onset->units, k_.onset->by_years};
    }
    r_.source = newest_.source;
    r_.line = newest_.line;
    r_.record_sha256 = newest_.sha256;
    records();
    r_.audience = options_.audience;
    r_.unit_id = newest_.unit_id;
    // What was opened stays open until a record tells of work. The car may be back with its owner
    // all the same, who is told of driving.
    r_.whereabouts = !owner() && newest_.has(Field::teardown_date) && newest_.work.empty()
                         ? Whereabouts::opened
                     : options_.buying                              ? Whereabouts::for_sale
                     : facts().at(Situation::by) == idx(By::intake) ? Whereabouts::core
                                                                    : Whereabouts::in_use;
    r_.family = seen_.family.empty() ? std::string(kGenericFamily) : seen_.family;
    r_.family_title = k_.family(r_.family).title;
    r_.family_sha256 = k_.family(r_.family).sha256;
    r_.vehicle = seen_.vehicle;
    r_.date = date_text(static_cast<int>(newest_.at(Field::date).number));
    r_.odometer_km = seen_.odometer_km;
    r_.seal_km = seen_.seal_km;
    if (newest_.has(Field::by)) {
      r_.by = spec(Field::by).choices[newest_.at(Field::by).code].plain;
    }
    r_.note = newest_.note;
    r_.photos = photos_of(history_);
    for (const std::string& key : options_.own) {
      if (const std::string* json = own_value(history_, key)) {
        r_.own.push_back({key, own_text(*json)});
      }
    }
  }

  void records() {
    const auto used = [](const Record& r, bool set_aside) {
      return RecordUsed{r.source, r.line, r.sha256, date_text(day_of(r)), set_aside};
    };
    // Where all of them are set aside, an empty one stands in the place of the first.
    const bool stands_in =
        !history_.set_aside.empty() && history_.records.size() == 1 &&
        std::tie(newest_.source, newest_.line, newest_.sha256) ==
            std::tie(history_.set_aside.front().source, history_.set_aside.front().line,
                     history_.set_aside.front().sha256);
    r_.records.reserve(history_.records.size() + history_.set_aside.size());
    for (const Record& r : history_.records) {
      if (!stands_in) {
        r_.records.push_back(used(r, false));
      }
    }
    for (const Record& r : history_.set_aside) {
      r_.records.push_back(used(r, true));
    }
    std::string hashes;
    for (const RecordUsed& r : r_.records) {
      hashes += r.sha256 + "\n";
    }
    r_.records_sha256 = sha256_hex(hashes);
  }

  void grade() {
    const GradeRule& rule = k_.grades[idx(verdict_.grade)];
    r_.grade = verdict_.grade;
    r_.grade_meaning = !in_car(r_.whereabouts) && !owner()
                           ? rule.core_meaning
                           : for_reader(rule.meaning, rule.owner_meaning);
    r_.at_least = verdict_.at_least;
    r_.risk = verdict_.posterior.risk;
    std::vector<const Floor*> held;
    for (std::size_t i = 0; i < k_.floors.size(); ++i) {
      if ((verdict_.floors >> i & 1U) != 0) {
        held.push_back(&k_.floors[i]);
      }
    }
    std::ranges::sort(held, [](const Floor* a, const Floor* b) {
      return std::tuple(b->grade, by_words(*a, a->reason)) <
             std::tuple(a->grade, by_words(*b, b->reason));
    });
    for (const Floor* f : held) {
      r_.floors.push_back({f->id, f->grade, for_reader(f->reason, f->plain)});
    }
    const Settings& s = k_.settings;
    const Grade worst = verdict_.at_least.value_or(Grade::A);
    if (verdict_.grade == Grade::U) {
      r_.reasons.push_back(for_reader(s.ungraded_reason, s.ungraded_plain));
    } else if (verdict_.incomplete) {
      r_.reasons.push_back(for_reader(s.unsound_reason, s.unsound_plain));
    } else if (verdict_.grade != worst && verdict_.band == RiskBand::high) {
      r_.reasons.push_back(for_reader(s.high_reason, s.high_plain));
    } else if (verdict_.grade != worst && verdict_.band == RiskBand::raised) {
      r_.reasons.push_back(for_reader(s.raised_reason, s.raised_plain));
    }
  }

  void foresee() {
    r_.prognosis = prognosis(k_, model_, facts(), verdict_.posterior);
    constexpr double kOneInTen = 0.1;
    constexpr double kMost = 300000;
    constexpr double kStep = 1000;
    const Ahead ahead(model_.life(), verdict_.posterior.belief, clock_of(facts()),
                      k_.settings.km_per_year);
    const double km = ahead.broken_by(kOneInTen, kMost, kStep);
    if (km < kMost) {
      r_.one_in_ten_km = km;
    }
  }

  void observations() {
    for (const FindingSpec& f : findings()) {
      const int level = facts().at(f.id);
      if (level >= 0) {
        const Observed& o = seen_.observed[idx(f.id)];
        Observation seen{.finding = f.name,
                         .value = f.levels[static_cast<std::size_t>(level)].id,
                         .shown = std::string(words_for(f.id, level)),
                         .since = o.since};
        if (!o.detail.empty() && !owner()) {
          seen.shown += fmt::format(" ({})", o.detail);
        }
        r_.observed.push_back(std::move(seen));
      } else if (could_be_observed(f)) {
        r_.not_observed.push_back(
            {.finding = f.name, .value = {}, .shown = std::string(f.title), .since = {}});
      }
    }
  }

  [[nodiscard]] bool could_be_observed(const FindingSpec& f) const {
    return !f.from_history && exists(f.id, facts().level);
  }

  // Only asked where the finding has a weight, so where it is linked to something.
  [[nodiscard]] const std::string& carrier(Finding finding, Cause cause) const {
    return k_.links[static_cast<std::size_t>(model_.carrier(finding, cause))].id;
  }

  void causes() {
    const Weights weights = model_.weigh(facts(), prior_);
    const std::vector<Model::LookWeight> looks = model_.weigh_looks(facts());
    Case unseen = facts();
    unseen.level.fill(-1);
    unseen.course.reset();
    const bool never_seen = !facts().course && facts().at(Finding::opened_seal_leak) < 0;
    const Posterior all_units = never_seen ? model_.infer(unseen, prior_) : model_.infer(unseen);
    for (const CauseSpec& c : dryshaft::causes()) {
      const CauseRule& rule = k_.causes[idx(c.id)];
      CauseReport report;
      report.id = c.name;
      report.title = for_reader(rule.title, rule.plain);
      report.probability = verdict_.posterior.cause[idx(c.id)];
      report.moved = report.probability > with_odds(all_units.cause[idx(c.id)], kMoved);
      for (const FindingSpec& f : findings()) {
        const double db = weights[idx(f.id)][idx(c.id)];
        const int level = facts().at(f.id);
        if (level >= 0 && std::abs(db) >= kLeastDecibans) {
          auto& side = db > 0 ? report.for_it : report.against_it;
          side.push_back({.rule = carrier(f.id, c.id),
                          .finding = f.name,
                          .value = std::string(f.levels[static_cast<std::size_t>(level)].id),
                          .shown = std::string(words_for(f.id, level)),
                          .decibans = db});
        }
        const bool bears = (model_.linked(f.id) >> idx(c.id) & 1U) != 0;
        if (level < 0 && bears && could_be_observed(f)) {
          report.not_observed.emplace_back(f.name);
        }
      }
      for (const Model::LookWeight& look : looks) {
        const double db = look.decibans[idx(c.id)];
        if (std::abs(db) >= kLeastDecibans) {
          const std::string day = date_text(day_of(history_.records[look.look]));
          auto& side = db > 0 ? report.for_it : report.against_it;
          side.push_back({.rule = {},
                          .finding = kEarlierLook,
                          .value = day,
                          .shown = fmt::format("inspection of {}", day),
                          .decibans = db});
        }
      }
      // As float, here and below: what differs by rounding alone, which goes by the order of the
      // rules and by the machine, is equal.
      const auto strength = [](const Evidence& e) {
        return static_cast<float>(std::abs(e.decibans));
      };
      std::ranges::stable_sort(report.for_it, std::greater{}, strength);
      std::ranges::stable_sort(report.against_it, std::greater{}, strength);
      r_.causes.push_back(std::move(report));
    }
    std::ranges::stable_sort(r_.causes, std::greater{}, [](const CauseReport& c) {
      return static_cast<float>(c.probability);
    });
  }

  void contradictions() {
    for (const std::string_view id : seen_.contradictions) {
      const ContradictionRule& rule = *k_.contradiction(id);
      r_.contradictions.push_back({rule.id, for_reader(rule.text, rule.plain)});
    }
  }

  // Of a unit with a past; then on to the next look.
  void leak_along() {
    if ((r_.history.earlier.empty() && r_.history.works.empty()) || !r_.odometer_km) {
      return;
    }
    for (const Model::LeakThen& then : model_.leak_along(facts())) {
      r_.history.leak.push_back({*r_.odometer_km - then.km_before, then.chance});
    }
    if (r_.history.leak.empty()) {
      return;
    }
    const Clock now = clock_of(facts());
    const double left = std::max(0.0, r_.recheck.due_km.value_or(0) - *r_.odometer_km);
    constexpr int kAhead = 4;
    for (int i = 0; i <= (left > 0 ? kAhead : 0); ++i) {
      const double km = left * i / kAhead;
      Belief then = verdict_.posterior.belief;
      model_.life().drive(then, now, now.later(km, km / k_.settings.km_per_year));
      r_.history.leak.push_back({*r_.odometer_km + km, chances(then).cause[idx(Cause::seal_leak)]});
    }
  }

  void recheck() {
    Recheck& r = r_.recheck;
    const NextLook next = next_look(k_, facts_, waits() ? safe_distance() : 0);
    r.km = next.km;
    r.days = next.days;
    if (!r.km) {
      r.because = "no recheck: do the work first";
      return;
    }
    r.because = fmt::format("the longest interval for grade {}", name(verdict_.grade));
    if (next.sooner != nullptr) {
      const Advice& a = *next.sooner;
      r.because = fmt::format("shortened: {}", without_full_stop(for_reader(a.reason, a.plain)));
    } else if (next.shortened) {
      r.because = fmt::format(
          "shortened: {}the chance that damage has begun by then reaches {} soon after",
          k_.onset ? "by the workshop's own records " : "", percent(k_.settings.damage_target));
    }
    since_look();
  }

  // A unit that waits is looked at again so long after its last look at the port, whatever else was
  // put on record since.
  void since_look() {
    Recheck& r = r_.recheck;
    const int newest = static_cast<int>(newest_.at(Field::date).number);
    const int due = std::min(newest + static_cast<int>(*r.days - look_days_ago()),
                             days_from_date(9999, 12, 31));  // a date has four digits of a year
    r.due_date = date_text(due);
    if (r_.odometer_km) {
      r.due_km = std::max(0.0, *r_.odometer_km + *r.km - look_km_ago());
    }
    if (look_days_ago() > 0 || look_km_ago() > 0) {
      r.because += fmt::format(", counted from the port check of {}",
                               date_text(newest - static_cast<int>(look_days_ago())));
    }
    r.overdue = today_ > due || look_km_ago() > *r.km;
    r.km = r.overdue ? 0 : *r.km - look_km_ago();
    r.days = r.overdue ? 0 : *r.days - look_days_ago();
    if (r.overdue) {
      r.because = "overdue: " + r.because;
    }
  }

  [[nodiscard]] bool waits() const { return dryshaft::waits(verdict_.grade); }
  [[nodiscard]] double look_days_ago() const { return waits() ? seen_.port_days_ago : 0; }
  [[nodiscard]] double look_km_ago() const { return waits() ? seen_.port_km_ago : 0; }
  // How far from the last look at the port, of those looks that did not find everything.
  [[nodiscard]] double safe_distance() const {
    const Ahead ahead(model_.life(), verdict_.posterior.belief, clock_of(facts()),
                      k_.settings.km_per_year);
    double unharmed = ahead.unharmed();
    if (seen_.port_record) {
      if (const auto then = model_.unharmed_at(facts(), *seen_.port_record)) {
        unharmed = then->not_yet;
      }
    }
    return safe_km(k_, ahead, verdict_.grade, unharmed, look_km_ago());
  }

  [[nodiscard]] const std::string& reason(const Offer& o) const {
    return owner() ? o.advice->plain : (o.companion ? o.action->reason : o.advice->reason);
  }

  void actions() {
    const std::vector<Order> open = orders_.open(seen_, facts_);
    std::vector<Action> actions;
    actions.reserve(open.size());
    for (const Order& order : open) {
      actions.push_back(action(order));
    }
    // What is overdue comes first of what is as urgent.
    std::vector<std::size_t> in_order(open.size());
    std::iota(in_order.begin(), in_order.end(), std::size_t{0});
    std::ranges::stable_sort(in_order, {}, [&](std::size_t i) {
      constexpr double kNone = 1e12;
      const Offer& o = open[i].offer;
      return std::tuple(actions[i].urgency, !actions[i].overdue,
                        actions[i].within_days.value_or(kNone),
                        actions[i].within_km.value_or(kNone), o.action->importance,
                        by_words(*o.action, o.action->text));
    });
    for (const std::size_t i : in_order) {
      r_.actions.push_back(std::move(actions[i]));
    }
    due();
  }

  // What is said of a unit where it is, if not what is said of one in a car.
  [[nodiscard]] Phrase told_of(const ActionRule& rule) const {
    return r_.whereabouts == Whereabouts::core     ? rule.core
           : r_.whereabouts == Whereabouts::opened ? rule.opened
                                                   : Phrase();
  }

  Action action(const Order& order) {
    const Offer& o = order.offer;
    Action a{.id = o.action->id,
             .rule = o.advice->id,
             .text = for_reader(o.action->text, o.action->owner_text),
             .urgency = o.urgency,
             .within_km = o.within_km,
             .within_days = o.within_days,
             .because = reason(o),
             .asked = date_text(day_of(history_.records[order.asked])),
             .at_port = o.action == &k_.action(ActionRole::look_at_port)};
    if (!owner()) {
      a.title = o.action->title;
      if (const Phrase& other = told_of(*o.action); !other.text.empty()) {
        a.title = other.title;
        a.text = other.text;
      }
    }
    if (o.is_recheck()) {
      const Recheck& r = r_.recheck;
      a.within_km = r.km;
      a.within_days = r.days;
      a.due_km = r.due_km;
      a.due_date = r.due_date;
      a.overdue = r.overdue;
    } else {
      limits(order, a);
    }
    if (!order.done.empty()) {
      begun(order, a);
    }
    if (a.overdue) {
      a.urgency = std::min(a.urgency, Urgency::soon);
      a.within_km = a.within_km == 0.0 && order.offer.within_km == 0.0 ? a.within_km : std::nullopt;
      a.within_days.reset();
      a.because.insert(0, was_due(a));
    }
    // What came in for intake covers no distance; what was opened may be back in its car.
    if (!in_car(r_.whereabouts) && facts().at(Situation::by) == idx(By::intake)) {
      a.within_km = a.within_km == 0.0 ? a.within_km : std::nullopt;
      a.due_km.reset();
    }
    return a;
  }

  // As far as the day and the distance at which it was asked for leave.
  void limits(const Order& order, Action& a) const {
    const int newest = static_cast<int>(newest_.at(Field::date).number);
    if (order.due_day) {
      const int due = std::min(*order.due_day, days_from_date(9999, 12, 31));
      a.due_date = date_text(due);
      a.within_days = std::max(0, due - newest);
      a.overdue = today_ > due;
    }
    if (order.due_km && verdict_.grade == Grade::D && *order.due_km > r_.odometer_km.value_or(0)) {
      a.within_km.reset();
    } else if (order.due_km) {
      a.due_km = order.due_km;
      if (r_.odometer_km) {
        a.within_km = std::max(0.0, *order.due_km - *r_.odometer_km);
        a.overdue = a.overdue || *r_.odometer_km > *order.due_km;
      }
    }
  }

  static std::string was_due(const Action& a) {
    return a.due_date.empty() ? fmt::format("It was due at {} km. ", grouped(*a.due_km))
                              : fmt::format("It was due by {}. ", a.due_date);
  }

  // Of the work that closes it, a part is on record.
  void begun(const Order& order, Action& a) const {
    const std::vector<Did>* nearest = nullptr;
    std::size_t most = 0;
    for (const std::vector<Did>& all : order.offer.action->closed_by.work) {
      const auto done = static_cast<std::size_t>(std::ranges::count_if(
          all, [&](Did did) { return std::ranges::find(order.done, did) != order.done.end(); }));
      if (done > most) {
        most = done;
        nearest = &all;
      }
    }
    if (nearest == nullptr) {
      return;
    }
    std::vector<std::string> done;
    std::vector<std::string> missing;
    for (const Did did : *nearest) {
      const bool is_done = std::ranges::find(order.done, did) != order.done.end();
      (is_done ? done : missing).emplace_back(words_of(did));
    }
    a.because.insert(0, fmt::format("Begun and not finished: on record is \"{}\", not on record "
                                    "\"{}\". ",
                                    listed(done, "and"), listed(missing, "and")));
  }

  // By what the newest look and the notices after it tell.
  void left_care() {
    const int newest = day_of(newest_);
    int last = newest;
    const auto leaves = [&](Did did, int day, std::string_view note) {
      if (leaves_care(did) && day >= last) {
        last = day;
        r_.left = LeftCare{did, date_text(day), std::string(note)};
      }
    };
    for (const HistoryWork& w : r_.history.works) {
      leaves(w.did, parse_date(w.date).value_or(newest - 1), w.note);
    }
    for (const Record& notice : history_.notices) {
      for (const Work& w : notice.work) {
        leaves(w.did, w.day.value_or(day_of(notice)), w.note);
      }
    }
    if (r_.left) {
      r_.warnings.push_back(
          fmt::format("{} on {}{}. Nothing is listed as due until it is looked at again",
                      sentence_case(spec(r_.left->did).plain), r_.left->date,
                      r_.left->note.empty() ? "" : fmt::format(" ({})", r_.left->note)));
    }
    for (const HistoryTaken& t : r_.history.taken_out) {
      if (!t.adverse.empty()) {
        r_.warnings.push_back(t.text);
      }
    }
  }

  void due() {
    if (r_.left) {
      return;
    }
    for (const Action& a : r_.actions) {
      if (!a.due_date.empty() || a.due_km) {
        r_.due.push_back({a.id, a.due_km, a.due_date, a.overdue});
      }
    }
    std::ranges::stable_sort(r_.due, {}, &Due::order);
  }

  // A fault that work on record should have ended, back within the shop's limit.
  void comebacks() {
    const int newest = static_cast<int>(newest_.at(Field::date).number);
    for (const ComebackRule& rule : k_.comebacks) {
      if (!holds(rule.when, facts_)) {
        continue;
      }
      const HistoryWork* last = nullptr;
      for (const HistoryWork& w : r_.history.works) {
        last = w.did == rule.did ? &w : last;
      }
      std::optional<double> km;
      std::optional<double> days;
      std::string told;
      if (last != nullptr) {
        const std::optional<int> day = parse_date(last->date);
        if (day) {
          days = newest - *day;
        }
        if (last->odometer_km && r_.odometer_km) {
          km = *r_.odometer_km - *last->odometer_km;
        }
        told = words_of(*last);
      } else if (rule.did == Did::seal_renewed && seen_.seal_renewed && r_.seal_km) {
        km = r_.seal_km;
        told = words_of(rule.did);
      }
      const Settings& s = k_.settings;
      const bool soon = (km || days) && km.value_or(0) >= 0 && km.value_or(0) <= s.comeback_km &&
                        days.value_or(0) <= s.comeback_days;
      if (soon) {
        std::vector<std::string> since;
        if (km) {
          since.push_back(fmt::format("{} km", grouped(*km)));
        }
        if (days) {
          since.push_back(fmt::format("{:.0f} days", *days));
        }
        r_.comebacks.push_back(
            {rule.id, rule.did, last == nullptr ? "" : last->date,
             fmt::format("{} It follows within {}: {}.", for_reader(rule.text, rule.plain),
                         listed(since, "and"), told)});
        r_.reasons.push_back(r_.comebacks.back().text);
      }
    }
  }

  [[nodiscard]] std::string_view words_of(Did did) const {
    return owner() ? spec(did).owner : spec(did).plain;
  }
  [[nodiscard]] std::string words_of(const HistoryWork& w) const {
    std::string text(words_of(w.did));
    if (!w.date.empty()) {
      text += " on " + w.date;
    }
    if (w.odometer_km) {
      text += fmt::format(" at {} km", grouped(*w.odometer_km));
    }
    if (w.by) {
      text += fmt::format(", {}", spec(Field::work_by).choices[idx(*w.by)].plain);
    }
    return text;
  }

  void outlook() {
    const OutlookRule* worst = nullptr;
    for (const OutlookRule& rule : k_.outlooks) {
      if (holds(rule.when, facts_) &&
          (worst == nullptr || std::tuple(worst->outlook, by_words(rule, rule.reason)) <
                                   std::tuple(rule.outlook, by_words(*worst, worst->reason)))) {
        worst = &rule;
      }
    }
    r_.rebuild_outlook = name(worst == nullptr ? Outlook::unknown : worst->outlook);
    r_.rebuild_outlook_text = worst == nullptr ? "nothing in the rules says" : worst->reason;
  }

  void cautions() {
    const auto of = [&](std::string_view action) -> const std::vector<std::string>& {
      const ActionRule& rule = *k_.action(action);
      return owner() ? rule.owner_cautions : rule.cautions;
    };
    std::set<std::string_view> needed;
    for (const Action& a : r_.actions) {
      needed.insert(of(a.id).begin(), of(a.id).end());
    }
    for (const NextCheck& n : r_.next_checks) {
      needed.insert(of(n.id).begin(), of(n.id).end());
    }
    for (const CautionRule& c : k_.cautions) {
      if (!holds(c.when, facts_)) {
        continue;
      }
      if (c.always || needed.contains(c.id)) {
        r_.cautions.push_back({c.id, for_reader(c.text, c.owner_text), c.trained_only,
                               for_reader(c.brief, c.owner_text)});
      }
    }
    for (Action& a : r_.actions) {
      for (const std::string& id : of(a.id)) {
        if (holds(k_.caution(id)->when, facts_)) {
          a.cautions.push_back(id);
        }
      }
    }
    // What holds of the unit as it is stands before whatever is done first.
    for (const CautionRule& c : k_.cautions) {
      if (r_.actions.empty()) {
        break;
      }
      std::vector<std::string>& first = r_.actions.front().cautions;
      if (c.always && !always_holds(c.when) && holds(c.when, facts_) &&
          std::ranges::find(first, c.id) == first.end()) {
        first.push_back(c.id);
      }
    }
  }

  // Causes that what was found on this unit has made likelier; never a share of all units alone.
  void headline() {
    std::vector<std::string> likely;
    std::vector<std::string> possible;
    for (const CauseReport& c : r_.causes) {
      const bool first = until_disproved(c);
      std::string named = fmt::format("{} ({})", c.title, percent(c.probability));
      if (c.moved && c.probability >= kLikely) {
        likely.push_back(std::move(named));
      } else if (first) {
        possible.insert(possible.begin(), std::move(named));
      } else if (c.moved && c.probability >= kWorthNaming && likely.size() + possible.size() < 3) {
        possible.push_back(std::move(named));
      }
    }
    std::string& text = r_.headline;
    const bool bad_news = std::ranges::any_of(
        findings(), [&](const FindingSpec& f) { return f.ordered && facts().at(f.id) > 0; });
    if (!likely.empty()) {
      text = fmt::format("Probably {}.", listed(likely, "and"));
    }
    if (!possible.empty() && (bad_news || !likely.empty())) {
      text += fmt::format("{}Possibly {}.", text.empty() ? "" : " ", listed(possible, "or"));
    }
    if (text.empty() && verdict_.at_least >= Grade::C) {
      text =
          fmt::format("{} Probability of damage: {}.", r_.floors.front().because, percent(r_.risk));
    } else if (text.empty()) {
      const std::string_view what = verdict_.grade == Grade::U
                                        ? "Not known: nothing seen so far shows it. Probability of "
                                          "damage by distance and age alone:"
                                        : "Nothing stands out. Probability of damage:";
      text = fmt::format("{} {}.", what, percent(r_.risk));
    }
  }

  [[nodiscard]] bool until_disproved(const CauseReport& c) const {
    return std::ranges::any_of(c.for_it, [&](const Evidence& e) {
      return std::ranges::any_of(k_.links, [&](const Link& l) {
        return l.until_disproved && l.id == e.rule && name(l.cause) == c.id;
      });
    });
  }

  // Is it safe, what to do and by when, what to tell the workshop.
  void summary() {
    const GradeRule& rule = k_.grades[idx(verdict_.grade)];
    r_.owner_summary = rule.owner_summary;
    may(rule);
    std::vector<std::string> tell;
    for (const Observation& o : r_.observed) {
      const FindingSpec& f = spec(*finding_named(o.finding));
      const int level = facts().at(f.id);
      if ((level > 0 || (level == 0 && f.id == Finding::noise_level)) &&
          !(f.id == Finding::noise && facts().at(Finding::noise_level) >= 0)) {
        const std::string_view word = f.levels[static_cast<std::size_t>(level)].plain;
        // "present" and "yes" add nothing to the title, and some levels say it all.
        const bool bare = word == "present" || word == "yes";
        const bool whole =
            word.find(f.title) != std::string_view::npos ||
            (f.detail_of == Finding::noise && f.id < Finding::recorded_rotor_bearing);
        const std::string& detail = seen_.observed[idx(f.id)].detail;
        tell.push_back(f.id == Finding::outside_leak && !detail.empty()
                           ? fmt::format("{} ({})", f.title, detail)
                       : bare  ? std::string(f.title)
                       : whole ? std::string(word)
                               : fmt::format("{} ({})", f.title, word));
      }
    }
    const bool looked = facts().at(Situation::port_check) == idx(PortCheck::fresh);
    const std::string nothing =
        fmt::format("{}, and {}",
                    r_.observed.empty() ? "nothing about noise, warnings or coolant is on record"
                                        : "nothing unusual has been noticed",
                    looked ? "the rotor-speed sensor port was dry and clean at its last check"
                           : "there is no recent check of the rotor-speed sensor port");
    r_.tell = fmt::format("{}.", tell.empty() ? nothing : fmt::format("{}", fmt::join(tell, "; ")));
  }

  // Whether the car may be driven, charged, bought, as far as this goes.
  void may(const GradeRule& rule) {
    if (!in_car(r_.whereabouts)) {
      return;
    }
    const bool sale = r_.whereabouts == Whereabouts::for_sale;
    r_.buying = sale ? rule.buyer_text : std::string();
    const Action* const first = r_.actions.empty() ? nullptr : &r_.actions.front();
    const bool quiet =
        (first == nullptr || first->urgency >= Urgency::planned) && !rule.drive_quiet.empty();
    r_.driving = sale ? rule.trial : quiet ? rule.drive_quiet : rule.drive;
    const bool stopped = verdict_.grade == Grade::D;
    const bool waits_for_work = first != nullptr && first->within_km == 0.0 && !stopped;
    if (waits_for_work) {
      r_.driving = "Not before this has been done.";
    }
    if (sale) {
      return;  // a buyer has nothing to charge or to move
    }
    r_.charging = waits_for_work ? "Not before this has been done." : rule.charge;
    for (const Caution& c : r_.cautions) {
      const std::string& said = k_.caution(c.id)->charging;
      r_.charging = said.empty() || stopped ? r_.charging : said;
    }
    if (stopped || waits_for_work) {
      r_.moving = k_.settings.carried;
    }
  }

  const History& history_;
  const Knowledge& k_;
  const Model& model_;
  const AssessOptions& options_;
  const Judgements* judged_;
  const Record& newest_;
  Orders orders_;
  int today_ = 0;
  Presentation seen_;
  Prior prior_;
  Verdict verdict_;
  Facts facts_;
  Report r_;
};

}  // namespace

void require_valid(const History& history) {
  if (!is_valid(history)) {
    broken_promise<std::invalid_argument>("a history is judged that group_by_unit never gives");
  }
}

Report assess(const History& history, const Knowledge& knowledge, const Model& model,
              const AssessOptions& options, const Judgements* judged) {
  require_valid(history);
  // What was dated by hand may lie after the day of judgement.
  if (options.today && history.records.back().at(Field::date).number > *options.today) {
    return Assessor(as_of(history, *options.today), knowledge, model, options, judged).report();
  }
  return Assessor(history, knowledge, model, options, judged).report();
}

}  // namespace dryshaft

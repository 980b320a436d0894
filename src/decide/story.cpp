#include "decide/story.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/index.hpp"
#include "decide/wording.hpp"
#include "record/events.hpp"
#include "record/look.hpp"
#include "record/withdrawn.hpp"

namespace dryshaft {
namespace {

constexpr double kDevelopment = 0.9;
constexpr double kPossible = 0.5;

constexpr std::string_view kSealRenewed = "seal-renewed";
constexpr std::string_view kBypassed = "rotor-circuit-bypassed";
constexpr std::string_view kFitted = "unit-fitted";
constexpr std::string_view kOpened = "unit-opened";

std::optional<double> odometer_of(const Record& r) {
  return r.has(Field::odometer_km) ? std::optional(r.at(Field::odometer_km).number) : std::nullopt;
}

// At the port, as the record has it.
std::string_view fluid_of(const Record& r) {
  const std::optional<Fluid> fluid = look_at_port(r).fluid;
  return fluid ? spec(Field::port_fluid).choices[idx(*fluid)].id : std::string_view();
}

class Story {
 public:
  Story(const History& history, const Knowledge& k, const Model& model, const Presentation& seen,
        const Verdict& verdict, const EachEarlier& each)
      : history_(history), k_(k), model_(model), seen_(seen), verdict_(verdict), each_(each) {}

  UnitHistory tell() {
    events();
    const std::size_t n = history_.records.size();
    first_ = n - 1 - std::min(n - 1, kGradedAgain);
    present_earlier(history_, first_, k_, [&](std::size_t i, const Presentation& then) {
      past_.push_back(then.facts);
      const Verdict v = judge(k_, model_, then.facts);
      each_(i, then, v);
      out_.earlier.push_back({.date = date_text(day_of(history_.records[i])),
                              .odometer_km = then.odometer_km,
                              .grade = v.grade,
                              .risk = v.posterior.risk,
                              .fluid = fluid_of(history_.records[i])});
    });
    works();
    taken_out();
    out_.fluid = fluid_of(history_.records.back());
    if (n < 2) {
      return std::move(out_);
    }
    out_.compared.push_back(compare(n - 2, "last-inspection"));
    out_.change = out_.compared.front().text;
    std::size_t first = first_;
    while (first + 1 < n && repair_after(first) != nullptr) {
      ++first;
    }
    if (first > first_ && first + 2 < n) {
      out_.compared.push_back(compare(first, "last-repair"));
    }
    return std::move(out_);
  }

 private:
  struct Source {
    std::size_t event;
    std::size_t record;  // the first record that tells of it
    // Where work tells it: the number of records that lie before it.
    std::optional<std::size_t> after = {};
  };

  void event(std::string_view id, std::size_t record, std::string text,
             std::optional<double> odometer_km, std::string date, Told told) {
    Source source{out_.events.size(), record};
    if (told != Told::field) {
      source.after = told == Told::work_after_look ? record + 1 : record;
    }
    told_.push_back(source);
    out_.events.push_back(
        {std::string(id), std::move(text), odometer_km, std::move(date), told != Told::field});
  }

  void works() {
    for (const UnitEvent& e : works_of(history_.records)) {
      out_.works.push_back({.did = e.work->did,
                            .date = e.day ? date_text(*e.day) : "",
                            .odometer_km = e.km,
                            .material = e.work->material,
                            .keeps_crossover = e.work->keeps_crossover,
                            .by = e.work->by,
                            .note = e.work->note,
                            .told_on = date_text(day_of(history_.records[e.record])),
                            .looks_before = e.looks_before - std::min(e.looks_before, first_)});
    }
  }

  void taken_out() {
    for (const TakenOut& t : history_.taken_out) {
      HistoryTaken taken{.replaced = t.replaced,
                         .date = date_text(day_of(t.record)),
                         .sha256 = t.record.sha256,
                         .on = t.said.day ? date_text(*t.said.day) : "",
                         .because = t.said.because,
                         .by = t.said.by,
                         .adverse = adverse_in(t.record),
                         .text = {}};
      taken.text = fmt::format(
          "{} of {}{} {}{}{}{}; it counts for nothing", is_notice(t.record) ? "Notice" : "Record",
          taken.date, t.other_unit.empty() ? "" : fmt::format(" (with one of {})", t.other_unit),
          t.replaced ? "replaced by a corrected one" : "withdrawn",
          taken.on.empty() ? "" : " on " + taken.on, taken.by.empty() ? "" : " by " + taken.by,
          taken.because.empty() ? ", no reason given" : ": " + taken.because);
      if (!taken.adverse.empty()) {
        taken.text += fmt::format(". It had shown: {}", fmt::join(taken.adverse, "; "));
      }
      out_.taken_out.push_back(std::move(taken));
    }
    std::ranges::stable_sort(out_.taken_out, {}, &HistoryTaken::date);
  }

  // By itself, as of its day.
  [[nodiscard]] std::vector<std::string> adverse_in(const Record& record) const {
    const History alone{record.unit_id, {record}, {0}};
    const Presentation shown = present(alone, 1, k_, day_of(record));
    std::vector<std::string> adverse;
    for (const FindingSpec& f : dryshaft::findings()) {
      if (shown.facts.at(f.id) > 0 && f.ordered) {
        adverse.emplace_back(words_for(f.id, shown.facts.at(f.id)));
      }
    }
    return adverse;
  }

  void events() {
    std::optional<double> fitted;
    std::optional<double> renewed;
    std::optional<double> opened;
    bool bypassed = false;
    const auto news = [](const Record& r, Field field, std::optional<double>& last) {
      if (!r.has(field) || r.at(field).number == last) {
        return false;
      }
      last = r.at(field).number;
      return true;
    };
    for (std::size_t i = 0; i < history_.records.size(); ++i) {
      const Record& r = history_.records[i];
      const std::string date = date_text(day_of(r));
      if (news(r, Field::fitted_odometer_km, fitted) && *fitted > 0) {
        event(kFitted, i, "unit fitted", fitted, date, r.at(Field::fitted_odometer_km).told);
      }
      if (news(r, Field::seal_renewed_odometer_km, renewed)) {
        event(kSealRenewed, i, std::string(spec(Did::seal_renewed).plain), renewed, date,
              r.at(Field::seal_renewed_odometer_km).told);
      }
      if (news(r, Field::teardown_date, opened)) {
        event(kOpened, i, "unit opened", std::nullopt, date_text(static_cast<int>(*opened)),
              Told::field);
      }
      const Value& cooling = r.at(Field::rotor_cooling);
      if (cooling.observed) {
        const bool is = static_cast<Cooling>(cooling.code) == Cooling::bypassed;
        if (is && !bypassed) {
          event(kBypassed, i, std::string(spec(Did::rotor_circuit_bypassed).plain), std::nullopt,
                date, cooling.told);
        }
        bypassed = is;
      }
    }
  }

  // The latest repair that lies after a record, if there is one.
  [[nodiscard]] const HistoryEvent* repair_after(std::size_t i) const {
    const std::optional<double> then = odometer_of(history_.records[i]);
    const HistoryEvent* found = nullptr;
    for (const Source& t : told_) {
      const HistoryEvent& e = out_.events[t.event];
      const bool counts = e.id == kSealRenewed || e.id == kFitted || e.id == kBypassed;
      const bool later = t.after ? *t.after > i
                         : then && e.odometer_km
                             ? (e.id == kFitted ? *then < *e.odometer_km : *then <= *e.odometer_km)
                             : t.record > i;
      found = counts && later ? &e : found;
    }
    return found;
  }

  void findings(Comparison& comparison, const Case& then) const {
    for (const FindingSpec& f : dryshaft::findings()) {
      const int before = then.at(f.id);
      const int now = seen_.facts.at(f.id);
      if (before == now || (now < 0 && f.from_history)) {
        continue;
      }
      const auto level = [&](int l) {
        return l < 0 ? std::string() : std::string(f.levels[static_cast<std::size_t>(l)].id);
      };
      FindingChange change{.finding = std::string(f.name),
                           .before = level(before),
                           .now = level(now),
                           .kind = {},
                           .shown = {}};
      if (now < 0) {
        // A detail of a finding that is gone is not missed.
        if (!exists(f.id, seen_.facts.level)) {
          continue;
        }
        change.kind = "not-looked-at";
        change.shown = std::string(f.title);
      } else {
        change.kind = before < 0     ? "first-seen"
                      : !f.ordered   ? "other"
                      : now > before ? "worse"
                                     : "better";
        change.shown = words_for(f.id, now);
        if (before >= 0) {
          change.shown +=
              fmt::format(" (was: {})", f.levels[static_cast<std::size_t>(before)].plain);
        }
      }
      comparison.findings.push_back(std::move(change));
    }
  }

  [[nodiscard]] Comparison compare(std::size_t i, std::string_view since_what) const {
    const HistoryEntry& before = out_.earlier[i - first_];
    Comparison c{.with = before.date,
                 .since_what = std::string(since_what),
                 .grade_before = before.grade,
                 .findings = {},
                 .began = {},
                 .reading = {},
                 .text = {}};
    findings(c, past_[i - first_]);
    c.text = before.grade == verdict_.grade
                 ? fmt::format("grade {} as on {}", name(verdict_.grade), before.date)
                 : fmt::format("grade {} on {}, {} now", name(before.grade), before.date,
                               name(verdict_.grade));
    std::vector<std::string> changed;
    std::vector<std::string> missed;
    for (const FindingChange& f : c.findings) {
      const bool harmless =
          f.kind == "first-seen" && f.now == spec(*finding_named(f.finding)).levels.front().id;
      if (f.kind == "not-looked-at") {
        missed.push_back(f.shown);
      } else if (!harmless) {
        changed.push_back(f.shown);
      }
    }
    if (!changed.empty()) {
      c.text += fmt::format("; changed: {}", fmt::join(changed, "; "));
    }
    if (!missed.empty()) {
      c.text += fmt::format("; not looked at this time: {}", fmt::join(missed, ", "));
    }
    c.text += ". " + reading(c, i);
    return c;
  }

  [[nodiscard]] std::string reading(Comparison& c, std::size_t i) const {
    if (const HistoryEvent* repair = repair_after(i)) {
      c.reading = "repaired";
      const std::string_view what =
          repair->id == kBypassed ? "that leak path is gone" : "wear counts anew";
      return fmt::format("{} in between, so {}, and earlier findings at the port no longer count",
                         sentence_case(repair->text), what);
    }
    const std::optional<Model::Since> since = model_.sound_at(seen_.facts, i);
    if (since) {
      c.began = since->not_yet * since->risk_then;
    } else {
      c.reading = "not-comparable";
      return "How these two fit together is not known, so what began in between is not said";
    }
    const std::string chance = percent(*c.began);
    if (*c.began >= kDevelopment) {
      c.reading = "development";
      return fmt::format(
          "A real development: probability that a damaging cause has begun since: {}", chance);
    }
    if (*c.began >= kPossible) {
      c.reading = "possible-development";
      return fmt::format(
          "Probably a development: probability that a damaging cause has begun since: {}", chance);
    }
    if (verdict_.posterior.risk >= kPossible) {
      c.reading = "already-there";
      return fmt::format(
          "Most likely not new, only clearer: the damage was probably there already (probability "
          "that it "
          "has begun since: {})",
          chance);
    }
    c.reading = "within-evidence";
    return fmt::format("Cannot be told: probability that a damaging cause has begun since: {}",
                       chance);
  }

  const History& history_;
  const Knowledge& k_;
  const Model& model_;
  const Presentation& seen_;
  const Verdict& verdict_;
  const EachEarlier& each_;
  std::size_t first_ = 0;   // the first inspection that is graded again
  std::vector<Case> past_;  // of each inspection from it on but the newest
  std::vector<Source> told_;
  UnitHistory out_;
};

}  // namespace

UnitHistory story_of(const History& history, const Knowledge& knowledge, const Model& model,
                     const Presentation& seen, const Verdict& verdict, const EachEarlier& each) {
  return Story(history, knowledge, model, seen, verdict, each).tell();
}

}  // namespace dryshaft

// The job sheet: what is done, with what, in which order, and what is written down.
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>

#include "base/index.hpp"
#include "base/json_out.hpp"
#include "decide/wording.hpp"
#include "dryshaft/plan.hpp"
#include "plan/pages.hpp"
#include "plan/unit.hpp"
#include "plan/values.hpp"
#include "record/shape.hpp"
#include "report/document.hpp"
#include "report/render.hpp"
#include "report/words.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft {
namespace {

using document::Document;
using document::Entry;
using document::Heading;
using document::Lead;
using document::Paragraph;
using document::Table;
using document::Title;
using document::Verbatim;

using nlohmann::ordered_json;

constexpr std::string_view kDayToPutIn = "YYYY-MM-DD";

class SheetOf {
 public:
  SheetOf(const History& history, const Grader& grader, const WorkRules& work,
          const JobSheetRequest& request)
      : k_(grader.knowledge()),
        request_(request),
        option_(*work.option(request.option)),
        unit_(history, grader, work, request.today),
        family_(k_.family(unit_.family())),
        report_(assess(history, k_, grader.model(), {.today = request.today})) {
    for (const std::string& id : option_.jobs) {
      jobs_.push_back(work.job(id));
    }
  }

  [[nodiscard]] std::vector<PlanReason> barred() const { return unit_.barred(option_, false); }

  [[nodiscard]] std::string title() const {
    return fmt::format("Job sheet for {}: {}", report_.unit_id, option_.title);
  }

  // `fillable`: with room for what is written down, in the place of a record to fill in by hand.
  Document document(bool fillable = false) {
    d_.emplace_back(Title{title(), plan::unit_line(report_, request_.units)});
    document::add_reservations(d_, report_);
    cautions();
    d_.emplace_back(
        Lead{fmt::format("Grade {}", name(report_.grade)), report_.headline, report_.grade});
    time();
    each("Scope", &Job::scope);
    each("Take care", &Job::warnings);
    parts();
    steps();
    each("Replace while it is open", &Job::renew);
    if (std::ranges::any_of(jobs_, &Job::opens)) {
      each("Inspect and record", &Job::inspect);
      teardown();
    }
    each("Before it goes back", &Job::checks);
    if (fillable) {
      write_down();
    } else {
      record();
    }
    rests_on();
    return std::move(d_);
  }

  // The unit, and who does what is ticked.
  [[nodiscard]] std::vector<Sheet::Known> known() const {
    std::vector<Sheet::Known> out = {
        {Field::unit_id, 0, report_.unit_id},
        {Field::vehicle, 0,
         report_.vehicle.empty() ? report_.family
                                 : fmt::format("{}/{}", report_.family, report_.vehicle)}};
    for (std::size_t n = 1; n <= works().size(); ++n) {
      out.push_back(
          {Field::work_by, n, std::string(spec(Field::work_by).choices[idx(DoneBy::here)].id)});
    }
    return out;
  }

 private:
  void heading(std::string text) { d_.emplace_back(Heading{std::move(text)}); }
  [[nodiscard]] bool shown_here(const JobLine& line) const {
    return holds(line.when, unit_.facts()) && !(line.alone && jobs_.size() > 1);
  }
  [[nodiscard]] std::string filled(std::string_view text) const {
    return plan::with_values(text, k_, family_);
  }
  // Judgement and what was published are marked; the trade's habits need no mark.
  static std::string grounds(const JobLine& line) {
    const std::string mark = line.source.mark == SourceMark::common_practice
                                 ? ""
                                 : fmt::format(" ({})", shown(line.source));
    return fmt::format("Why: {}{}", line.reason, mark);
  }

  void cautions() {
    heading("Before you start");
    std::set<std::string, std::less<>> needed;
    for (const Job* job : jobs_) {
      for (const std::string& id : job->actions) {
        const ActionRule& action = *k_.action(id);
        needed.insert(action.cautions.begin(), action.cautions.end());
      }
      needed.insert(job->cautions.begin(), job->cautions.end());
    }
    for (const CautionRule& c : k_.cautions) {
      if ((c.always || needed.contains(c.id)) && holds(c.when, unit_.facts())) {
        d_.emplace_back(document::Item{0, c.text, {}});
      }
    }
  }

  void time() {
    double hours = 0;
    const bool together = jobs_.size() > 1 && jobs_.front()->work == name(TimedWork::rebuild);
    for (const Job* job : jobs_) {
      for (std::size_t w = 0; w < kTimedWorkCount; ++w) {
        if (name(static_cast<TimedWork>(w)) == job->work) {
          // A bypass in an open unit takes what the work data say of that.
          const bool inside = together && static_cast<TimedWork>(w) == TimedWork::bypass;
          hours += unit_.hours(inside ? TimedWork::bypass_in_rebuild : static_cast<TimedWork>(w));
        }
      }
    }
    const bool own = family_.service && !family_.service->hours.empty();
    d_.emplace_back(Lead{
        "Time",
        hours > 0
            ? fmt::format("About {:g} hours, {}", hours,
                          own ? "from the file of the family" : "a general figure (an estimate)")
            : fmt::format("About {:g} minutes", k_.action(ActionRole::look_at_port).minutes),
        std::nullopt});
  }

  void each(std::string_view head, std::vector<JobLine> Job::*lines) {
    bool first = true;
    for (const Job* job : jobs_) {
      for (const JobLine& line : job->*lines) {
        if (!shown_here(line)) {
          continue;
        }
        if (first) {
          heading(std::string(head));
          first = false;
        }
        d_.emplace_back(document::Item{0, filled(line.text), {grounds(line)}});
      }
    }
  }

  void steps() {
    std::string titles;
    std::vector<const JobLine*> steps;
    for (const Job* job : jobs_) {
      titles += titles.empty() ? job->title : " and " + within_sentence(job->title);
      for (const JobLine& line : job->steps) {
        if (shown_here(line)) {
          steps.push_back(&line);
        }
      }
    }
    std::ranges::stable_sort(steps, {}, &JobLine::stage);
    heading(fmt::format("Steps: {}", titles));
    std::size_t number = 0;
    for (const JobLine* line : steps) {
      d_.emplace_back(document::Item{++number, filled(line->text), {grounds(*line)}});
    }
  }

  // A bearing's size with its elements, as the family's machine has them.
  [[nodiscard]] std::string size_of(const ServicePart& part) const {
    std::string size = part.size;
    if (family_.machine) {
      for (const auto* list : {&family_.machine->rotor_bearings, &family_.machine->gear_bearings}) {
        for (const Bearing& b : *list) {
          if (b.name == part.bearing) {
            size += fmt::format("{}{} balls of {:g} mm", size.empty() ? "" : ", ", b.elements,
                                b.element_diameter);
          }
        }
      }
    }
    // A fluid has no size.
    return size.empty() && part.unit.empty() ? "by the manufacturer's figures" : size;
  }

  void parts() {
    Table table;
    table.columns = {{"quantity", Table::Fit::whole, true, false, 0},
                     {"part, size and material", Table::Fit::wrap, false, false, 20, true}};
    std::set<std::string_view> listed;
    for (const Job* job : jobs_) {
      for (const JobLine& line : job->parts) {
        // What two jobs call for is needed once.
        if (!shown_here(line) || (!line.part.empty() && !listed.insert(line.part).second)) {
          continue;
        }
        bool found = false;
        for (const ServicePart& part :
             family_.service ? family_.service->parts : std::vector<ServicePart>()) {
          if (part.id != line.part) {
            continue;
          }
          found = true;
          const std::string what = size_of(part);
          table.rows.push_back(
              {fmt::format("{:g}{}{}", part.quantity, part.unit.empty() ? "" : " ", part.unit),
               fmt::format("{}: {}{}{}", part.name, what,
                           what.empty() || part.material.empty() ? "" : "; ", part.material)});
        }
        if (!found) {
          table.rows.push_back({"-", filled(line.text) + ": by the manufacturer's figures"});
        }
      }
    }
    if (table.rows.empty()) {
      return;
    }
    heading("Parts and fluids");
    d_.emplace_back(std::move(table));
    d_.emplace_back(Paragraph{
        family_.service
            ? fmt::format("Sizes and volumes from the file of family {} ({}): {}", family_.title,
                          shown(family_.service->source), family_.service->reason)
            : fmt::format(
                  "The file of family {} names no parts. Use the manufacturer's sizes and volumes.",
                  family_.title)});
  }

  void teardown() {
    heading("Teardown form");
    for (const CauseSpec& c : causes()) {
      Entry entry;
      entry.label = k_.causes[idx(c.id)].title;
      for (const Choice& choice : spec(c.teardown).choices) {
        entry.choices.emplace_back(choice.id);
      }
      entry.choices.emplace_back(kNotExamined);
      entry.field = c.teardown;
      d_.emplace_back(std::move(entry));
    }
    d_.emplace_back(Paragraph{"Not examined is not absent."});
  }

  // What is looked at when the work is done.
  [[nodiscard]] std::set<Field> looks() const {
    std::set<Field> fields;
    for (const Job* job : jobs_) {
      for (const Finding f : job->looks) {
        for (const Field field : spec(f).from) {
          if (spec(field).pointer.starts_with("/inspection/")) {
            fields.insert(field);
          }
        }
        if (spec(f).at_port) {
          fields.insert(Field::port_checked);
        }
      }
    }
    return fields;
  }

  // What the jobs do, each once.
  [[nodiscard]] std::vector<Work> works() const {
    std::vector<Work> out;
    for (const Job* job : jobs_) {
      for (const Work& work : job->does) {
        if (std::ranges::find(out, work) == out.end()) {
          out.push_back(work);
        }
      }
    }
    return out;
  }

  // The same as `record`, for a screen or a pen. Nothing is ticked beforehand: an empty sheet tells
  // of no work.
  void write_down() {
    heading("Write down");
    const auto entry = [&](Field field, std::size_t work = 0) {
      Entry e = document::entry_of(spec(field), Audience::technician, request_.units);
      e.work = work;
      return e;
    };
    for (const Field field : {Field::unit_id, Field::date, Field::odometer_km}) {
      d_.emplace_back(entry(field));
    }
    const std::vector<Work> all = works();
    for (std::size_t n = 1; n <= all.size(); ++n) {
      const Work& work = all[n - 1];
      Entry done = entry(Field::work_did, n);
      done.only = spec(work.did).id;
      done.label = spec(work.did).plain;
      done.choices = {"done"};
      d_.emplace_back(std::move(done));
      for (const Field member : {Field::work_material, Field::work_keeps_crossover}) {
        if (goes_with(member, work.did)) {
          d_.emplace_back(entry(member, n));
        }
      }
    }
    for (const Field field : looks()) {
      d_.emplace_back(entry(field));
    }
    if (std::ranges::any_of(jobs_, &Job::opens)) {
      d_.emplace_back(entry(Field::teardown_date));
    }
    d_.emplace_back(Paragraph{
        "Tick what was done, and only when it is done: what is not ticked stays due. Leave empty "
        "what was not looked at."});
  }

  // What closes the actions that this work came from.
  void record() {
    heading("Record to return");
    d_.emplace_back(
        Paragraph{"When the work is done, fill in the date, the odometer reading and what was "
                  "seen. null means not observed. Delete work that was not done; it stays due. "
                  "Then add the record to the unit's records."});
    d_.emplace_back(Verbatim{blank_record()});
  }

  // Refused by the reader until the day is put in, so that an empty sheet tells of no work.
  [[nodiscard]] std::string blank_record() const {
    ordered_json r;
    const auto put = [&](Field field, ordered_json value) {
      r[ordered_json::json_pointer(std::string(spec(field).pointer))] = std::move(value);
    };
    put(Field::format, kRecordFormat);
    put(Field::unit_id, report_.unit_id);
    put(Field::date, kDayToPutIn);
    put(Field::odometer_km, nullptr);
    put(Field::by, spec(Field::by).choices[idx(By::technician)].id);
    for (const Field field : looks()) {
      put(field, nullptr);
    }
    const auto pointer = ordered_json::json_pointer(std::string(kWorkPointer));
    for (const Work& work : works()) {
      ordered_json did;
      const auto member = [&](Field field, ordered_json value) {
        did[std::string(spec(field).pointer.substr(1))] = std::move(value);
      };
      member(Field::work_did, spec(work.did).id);
      if (goes_with(Field::work_material, work.did)) {
        member(Field::work_material,
               work.material
                   ? ordered_json(spec(Field::work_material).choices[idx(*work.material)].id)
                   : ordered_json());
      }
      if (goes_with(Field::work_keeps_crossover, work.did)) {
        member(Field::work_keeps_crossover, nullptr);
      }
      member(Field::work_by, spec(Field::work_by).choices[idx(DoneBy::here)].id);
      r[pointer].push_back(std::move(did));
    }
    if (std::ranges::any_of(jobs_, &Job::opens)) {
      put(Field::teardown_date, kDayToPutIn);
      for (const CauseSpec& c : causes()) {
        put(c.teardown, kNotExamined);
      }
    }
    return in_lines(r) + "\n";
  }

  // A line for each piece of work, so that one can be struck out, and none too long for a sheet.
  static std::string in_lines(const ordered_json& value, std::size_t indent = 0) {
    constexpr std::size_t kRoom = 66;
    std::string at_once = json_out::of(value);
    const bool whole = indent > 0 && at_once.size() + indent <= kRoom;
    if (!value.is_structured() || value.empty() || whole) {
      return at_once;
    }
    std::string text;
    const std::string start = "\n" + std::string(indent + 1, ' ');
    for (const auto& [key, inner] : value.items()) {
      text += text.empty() ? start : "," + start;
      text += value.is_object() ? fmt::format("\"{}\": ", key) : std::string();
      text += in_lines(inner, indent + 1);
    }
    return value.is_object() ? "{" + text + "}" : "[" + text + "]";
  }

  void rests_on() {
    heading("Basis of this sheet");
    d_.emplace_back(Paragraph{
        fmt::format("dryshaft {}. Rules {} {}. The manufacturer's instructions and local rules "
                    "come first. Where no limit is named, no published limit holds for every unit.",
                    report_.tool_version, k_.id, k_.version)});
  }

  const Knowledge& k_;
  const JobSheetRequest& request_;
  const PlanOptionRule& option_;
  plan::Unit unit_;
  const Family& family_;
  Report report_;
  std::vector<const Job*> jobs_;
  Document d_;
};

}  // namespace

std::vector<PlanReason> barred(const History& history, const Grader& grader, const WorkRules& work,
                               const JobSheetRequest& request) {
  return SheetOf(history, grader, work, request).barred();
}

std::string job_sheet_to_text(const History& history, const Grader& grader, const WorkRules& work,
                              const JobSheetRequest& request, const TextStyle& style) {
  return document::in_text(SheetOf(history, grader, work, request).document(), style);
}

std::string job_sheet_to_markdown(const History& history, const Grader& grader,
                                  const WorkRules& work, const JobSheetRequest& request) {
  return document::in_markdown(SheetOf(history, grader, work, request).document());
}

Sheet job_sheet(const History& history, const Grader& grader, const WorkRules& work,
                const JobSheetRequest& request) {
  SheetOf sheet(history, grader, work, request);
  Sheet out = plan::page(sheet.title(), {{request.option, sheet.document(true)}});
  out.known = sheet.known();
  return out;
}

}  // namespace dryshaft

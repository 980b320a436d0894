#include "form/stops.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <functional>
#include <string_view>
#include <utility>

#include "decide/assess.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace form {
namespace {

constexpr std::string_view kAnyDay = "2026-01-01";

// In the place of an answer that is not there: what a record cannot do without.
FormAnswer stand_in(const FormQuestion& q) {
  FormAnswer out;
  if (q.required()) {
    out.words.emplace_back(q.field == Field::date ? kAnyDay : "-");
  }
  return out;
}

// What must be done before any further driving, the same each time.
std::vector<std::string> wanted_first(const Knowledge& knowledge, const Facts& facts) {
  std::vector<std::string> out;
  for (const Advice& a : knowledge.advice) {
    if (a.within_km != 0.0 || !holds(a.when, facts)) {
      continue;
    }
    std::string when = words::deadline(a.within_km, a.within_days, Units::km);
    when.front() = static_cast<char>(when.front() - 'a' + 'A');
    std::string text = fmt::format("{}: {}", when, knowledge.action(a.action)->owner_text);
    if (std::ranges::find(out, text) == out.end()) {
      out.push_back(std::move(text));
    }
  }
  return out;
}

std::vector<std::string> texts_for(const Knowledge& knowledge, const Facts& facts) {
  return facts.grade == Grade::D ? std::vector{stop_text(knowledge)}
                                 : wanted_first(knowledge, facts);
}

}  // namespace

std::string stop_text(const Knowledge& knowledge) {
  return fmt::format("{} {}", knowledge.settings.stop, knowledge.settings.carried);
}

std::optional<Facts> judged(const Form& form, FormAnswers answers, const Grader& grader) {
  for (std::size_t i = 0; i < answers.size(); ++i) {
    if (answers[i].words.empty()) {
      answers[i] = stand_in(form.questions[i]);
    }
  }
  const ReadOptions& options = grader.read_options();
  // An answer that cannot be hides nothing that the others mean.
  FormRecords made = to_records(form, answers, options);
  for (std::size_t left = answers.size(); !made.complaints.empty() && left > 0; --left) {
    for (const FormComplaint& c : made.complaints) {
      answers[c.question] = stand_in(form.questions[c.question]);
    }
    made = to_records(form, answers, options);
  }
  const Result<std::vector<History>> unit = group_by_unit(std::move(made.records));
  if (!unit.value || unit.value->empty()) {
    return std::nullopt;
  }
  const History& history = unit.value->front();
  const int day = static_cast<int>(history.records.back().at(Field::date).number);
  const Case c = present(history, history.records.size(), grader.knowledge(), day).facts;
  return facts_of(c, judge(grader.knowledge(), grader.model(), c));
}

}  // namespace form

std::vector<std::string> stop_now(const Form& form, const FormAnswers& answers,
                                  const Grader& grader) {
  const std::optional<Facts> facts = form::judged(form, answers, grader);
  return facts ? form::texts_for(grader.knowledge(), *facts) : std::vector<std::string>();
}

}  // namespace dryshaft

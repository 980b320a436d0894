#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "form/stops.hpp"
#include "page/page.hpp"
#include "page/request.hpp"
#include "page/wording.hpp"

namespace dryshaft::page {
namespace {

// "That answer is "109k". Possible: a number, in km or miles. Write one number alone."
std::string sentences(std::string_view problem, std::string_view allowed, std::string hint) {
  if (!hint.empty() && hint.front() >= 'a' && hint.front() <= 'z') {
    hint.front() = static_cast<char>(hint.front() - 'a' + 'A');
  }
  return fmt::format(
      "That answer {}.{}{}{}", problem,
      allowed.empty() ? "" : fmt::format(" Possible: {}.", allowed), hint.empty() ? "" : " " + hint,
      hint.empty() || std::string_view(".?!").find(hint.back()) != std::string_view::npos ? ""
                                                                                          : ".");
}

// The answers of a request, read; what is wrong with each.
class Reading {
 public:
  Reading(const Form& form, const Json& request)
      : form_(form), answers_(form.questions.size()), problems_(form.questions.size()) {
    const auto given = request.find("answers");
    if (given == request.end() || !given->is_object()) {
      return;
    }
    for (std::size_t i = 0; i < answers_.size(); ++i) {
      if (const auto one = given->find(form.questions[i].key);
          one != given->end() && one->is_object()) {
        read(i, *one);
      }
    }
  }

  void refuse_after(std::string_view today) {
    for (std::size_t i = 0; i < answers_.size(); ++i) {
      const FieldType type = form_.questions[i].row().type;
      if (answers_[i].words.empty() || (type != FieldType::date && type != FieldType::month)) {
        continue;
      }
      const std::string_view day = answers_[i].words.front();
      if (day > today.substr(0, day.size())) {
        problem(i, fmt::format("is {}, after today, {}", day, today), "", "");
      }
    }
  }

  // JSON Lines; empty where an answer that counts is wrong.
  std::string records(const ReadOptions& options) {
    FormRecords made = to_records(form_, answers_, options);
    for (const FormComplaint& c : made.complaints) {
      if (c.diagnostic.code == "missing-field" && problems_[c.question].empty()) {
        problems_[c.question] = kNeeded;
      }
      problem(c.question, named(c.diagnostic.message), c.diagnostic.allowed, c.diagnostic.hint);
    }
    for (std::size_t i = 0; i < answers_.size(); ++i) {
      if (!problems_[i].empty() && applies(form_, answers_, i)) {
        return {};
      }
    }
    return made.text;
  }

  [[nodiscard]] Json questions() const {
    Json out = Json::array();
    for (std::size_t i = 0; i < answers_.size(); ++i) {
      if (!applies(form_, answers_, i)) {
        continue;
      }
      const FormQuestion& q = form_.questions[i];
      Json one = {{"key", q.key}, {"words", answers_[i].words}};
      if (q.distance()) {
        one["unit"] = answers_[i].units == Units::mi ? "mi" : "km";
      }
      one["problem"] = problems_[i];
      out.push_back(std::move(one));
    }
    return out;
  }

  [[nodiscard]] const FormAnswers& answers() const { return answers_; }

 private:
  void read(std::size_t i, const Json& given) {
    const FormQuestion& q = form_.questions[i];
    const auto words = given.find("words");
    if (q.row().type == FieldType::photos && words != given.end()) {
      for (const Json& picture : *words) {
        answers_[i].words.push_back(picture.is_string() ? picture.get<std::string>() : "");
      }
      return;
    }
    if (q.choices.empty()) {
      const std::string unit = text_of(given, "unit");
      const std::optional<Units> units =
          unit.empty() ? std::nullopt : std::optional(units_in(given, "unit"));
      ReadAnswer read = read_answer(q, text_of(given, "typed"), units);
      answers_[i] = std::move(read.answer);
      if (!read.problem.empty()) {
        problem(i, read.problem, read.allowed, read.hint);
      }
      return;
    }
    for (const FormChoice& c : q.choices) {
      if (words != given.end() && std::ranges::find(*words, Json(c.word)) != words->end()) {
        answers_[i].words.push_back(c.word);
      }
    }
  }

  // The first that is said of an answer stands.
  void problem(std::size_t i, std::string_view what, std::string_view allowed,
               const std::string& hint) {
    if (problems_[i].empty()) {
      problems_[i] = sentences(what, allowed, hint);
    }
  }

  // A message in which other questions stand as their owners read them.
  [[nodiscard]] std::string named(std::string message) const {
    for (const FormQuestion& q : form_.questions) {
      const std::string key = fmt::format("[{}]", q.key);
      if (const std::size_t at = message.find(key); at != std::string::npos) {
        message.replace(at, key.size(), fmt::format("your answer to \"{}\"", q.text));
      }
    }
    return message;
  }

  const Form& form_;
  FormAnswers answers_;
  std::vector<std::string> problems_;
};

// What is seen and measured, as the grader takes it.
Json found(const Form& form, const FormAnswers& answers, const Grader& grader) {
  Json out = Json::array();
  const std::optional<Facts> facts = form::judged(form, answers, grader);
  for (const FindingSpec& finding : findings()) {
    const int level = facts ? facts->level[static_cast<std::size_t>(finding.id)] : -1;
    if (level < 0 || finding.from_history) {
      continue;
    }
    Json questions = Json::array();
    for (std::size_t i = 0; i < answers.size(); ++i) {
      const FormQuestion& q = form.questions[i];
      if (q.work == 0 && !answers[i].words.empty() && applies(form, answers, i) &&
          std::ranges::find(finding.from, q.field) != finding.from.end()) {
        questions.push_back(q.key);
      }
    }
    if (!questions.empty()) {
      out.push_back({{"questions", std::move(questions)},
                     {"text", fmt::format("{}: {}", finding.title,
                                          finding.levels[static_cast<std::size_t>(level)].plain)}});
    }
  }
  return out;
}

}  // namespace

const Form& Assessor::form(FormFor reader) {
  std::optional<Form>& form = forms_[static_cast<std::size_t>(reader)];
  return form ? *form : form.emplace(make_form(grader_, reader));
}

std::string Assessor::answered(std::string_view request) {
  const std::optional<Json> asked = request_in(request);
  if (!asked) {
    return bug("the request is no object");
  }
  const std::string today = text_of(*asked, "today");
  if (!today.empty() && !parse_date(today)) {
    return bug("today is no day");
  }
  const std::string wanted = text_of(*asked, "form");
  const FormFor reader = wanted == word_of(FormFor::technician) ? FormFor::technician
                         : wanted == word_of(FormFor::buyer)    ? FormFor::buyer
                                                                : FormFor::owner;
  const Form& form = this->form(reader);
  Reading reading(form, *asked);
  if (!today.empty()) {
    reading.refuse_after(today);
  }
  std::string records = reading.records(grader_.read_options());
  const bool technician = reader == FormFor::technician;
  return json_out::of(
      Json{{"questions", reading.questions()},
           {"stop", technician ? Json::array() : Json(stop_now(form, reading.answers(), grader_))},
           {"found", technician ? found(form, reading.answers(), grader_) : Json::array()},
           {"records", std::move(records)}});
}

}  // namespace dryshaft::page

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

// ------------------------------------------------- which answers count

// The findings that a condition asks for, save where it holds at grade D alone.
void gather(const Condition& condition, std::vector<Finding>& out) {
  constexpr std::uint8_t kOnlyD = 1U << static_cast<unsigned>(Grade::D);
  if (condition.grades == kOnlyD) {
    return;
  }
  for (const Condition::FindingIs& f : condition.findings) {
    out.push_back(f.finding);
  }
  for (const std::vector<Condition>& some : condition.any) {
    for (const Condition& one : some) {
      gather(one, out);
    }
  }
  for (const Condition& one : condition.none) {
    gather(one, out);
  }
}

// For each rule that stops a car the questions that it turns on. Those of a rule that turns on no
// others than another one does are left out.
std::vector<std::vector<std::size_t>> questions_for_stops(const Form& form,
                                                          const Knowledge& knowledge) {
  std::vector<std::vector<std::size_t>> all;
  const auto add = [&](const Condition& when) {
    std::vector<Finding> wanted;
    gather(when, wanted);
    std::vector<std::size_t>& questions = all.emplace_back();
    for (std::size_t i = 0; i < form.questions.size(); ++i) {
      const FormQuestion& q = form.questions[i];
      if (!q.of_check && std::ranges::any_of(wanted, [&](Finding f) {
            return std::ranges::find(spec(f).from, q.field) != spec(f).from.end();
          })) {
        questions.push_back(i);
      }
    }
  };
  for (const Floor& f : knowledge.floors) {
    if (f.grade == Grade::D) {
      add(f.when);
    }
  }
  for (const Advice& a : knowledge.advice) {
    if (a.within_km == 0.0) {
      add(a.when);
    }
  }
  std::ranges::stable_sort(all, std::ranges::greater(), &std::vector<std::size_t>::size);
  std::vector<std::vector<std::size_t>> out;
  for (std::vector<std::size_t>& one : all) {
    if (std::ranges::none_of(out, [&](const auto& o) { return std::ranges::includes(o, one); })) {
      out.push_back(std::move(one));
    }
  }
  return out;
}

// A question whose answers count. Of a number only its words are told apart.
struct Variable {
  std::size_t question = 0;
  std::vector<std::string> words = {""};
  std::vector<FormAnswer> answers = {{}};
};

Variable variable_of(const Form& form, std::size_t question) {
  const FormQuestion& q = form.questions[question];
  Variable v;
  v.question = question;
  const auto add = [&v](std::string_view word, std::string answer) {
    v.words.emplace_back(word);
    v.answers.push_back({.words = {std::move(answer)}});
  };
  for (const FormChoice& c : q.choices) {
    add(c.word, c.word);
  }
  if (q.choices.empty()) {
    add(kLeast, fmt::format("{}", q.row().minimum));
    add(kMore, fmt::format("{}", q.row().maximum));
  }
  return v;
}

// ------------------------------------------------------- combinations

// Every combination of answers to some questions, and what it calls for.
class Combinations {
 public:
  Combinations(const Form& form, const Grader& grader, const std::vector<std::size_t>& questions)
      : form_(form), answers_(form.questions.size()) {
    for (const std::size_t question : questions) {
      variables_.push_back(variable_of(form, question));
    }
    // What they depend on is answered so that they are asked.
    for (const std::size_t question : questions) {
      for (const FormQuestion* q = &form_.questions[question]; !q->gate_words.empty();
           q = &form_.questions[q->gate]) {
        answers_[q->gate].words = {q->gate_words.front()};
      }
    }
    each(0, [&](bool can_be) {
      const std::optional<Facts> facts = can_be ? judged(form_, answers_, grader) : std::nullopt;
      calls_for_.push_back(
          {can_be, facts ? texts_for(grader.knowledge(), *facts) : std::vector<std::string>()});
    });
  }

  // All texts, in the order in which they turn up.
  [[nodiscard]] std::vector<std::string> texts() const {
    std::vector<std::string> out;
    for (const CallsFor& one : calls_for_) {
      for (const std::string& text : one.texts) {
        if (std::ranges::find(out, text) == out.end()) {
          out.push_back(text);
        }
      }
    }
    return out;
  }

  // As few and wide combinations as will do that hold together where `text` is called for. Where
  // `instead` is, or where no combination is possible, they may hold as well.
  [[nodiscard]] std::vector<Stop> cover(const std::string& text, const std::string& instead) const {
    std::vector<Wanted> wanted;  // one for each combination
    for (const CallsFor& one : calls_for_) {
      const auto calls = [&](const std::string& t) {
        return std::ranges::find(one.texts, t) != one.texts.end();
      };
      wanted.push_back(calls(text)                     ? Wanted::yes
                       : !one.can_be || calls(instead) ? Wanted::either
                                                       : Wanted::no);
    }
    std::vector<Stop> out;
    std::vector<bool> covered(wanted.size());
    for (std::size_t i = 0; i < wanted.size(); ++i) {
      if (wanted[i] == Wanted::yes && !covered[i]) {
        const Cube cube = widest(i, wanted);
        visit(cube, [&](std::size_t at) { return covered[at] = true; });
        out.push_back(stop(cube, text));
      }
    }
    return out;
  }

 private:
  struct CallsFor {
    bool can_be = false;
    std::vector<std::string> texts;
  };
  enum class Wanted : std::uint8_t { no, yes, either };
  // For each variable, which of its words: a combination for each choice out of them.
  using Cube = std::vector<std::vector<bool>>;

  // Goes through all combinations, the last variable quickest; whether each can be: only what
  // applies is answered.
  template <typename Take>
  void each(std::size_t variable, const Take& take) {
    if (variable == variables_.size()) {
      take(std::ranges::all_of(variables_, [this](const Variable& v) {
        return answers_[v.question].words.empty() || applies(form_, answers_, v.question);
      }));
      return;
    }
    const Variable& v = variables_[variable];
    for (const FormAnswer& answer : v.answers) {
      answers_[v.question] = answer;
      each(variable + 1, take);
    }
  }

  // Takes the number of each combination of a cube until `take` says no.
  template <typename Take>
  bool visit(const Cube& cube, const Take& take, std::size_t variable = 0,
             std::size_t number = 0) const {
    if (variable == cube.size()) {
      return take(number);
    }
    for (std::size_t w = 0; w < cube[variable].size(); ++w) {
      if (cube[variable][w] &&
          !visit(cube, take, variable + 1, number * cube[variable].size() + w)) {
        return false;
      }
    }
    return true;
  }

  [[nodiscard]] Cube widest(std::size_t number, const std::vector<Wanted>& wanted) const {
    Cube cube(variables_.size());
    for (std::size_t v = variables_.size(); v-- > 0;) {
      const std::size_t words = variables_[v].words.size();
      cube[v].assign(words, false);
      cube[v][number % words] = true;
      number /= words;
    }
    const auto may_hold = [&] {
      return visit(cube, [&](std::size_t at) { return wanted[at] != Wanted::no; });
    };
    const auto calls_nowhere = [&] {
      return visit(cube, [&](std::size_t at) { return wanted[at] != Wanted::yes; });
    };
    for (std::vector<bool>& words : cube) {
      const std::vector<bool> before = std::exchange(words, std::vector(words.size(), true));
      if (may_hold()) {
        continue;
      }
      words = before;
      for (std::size_t w = 0; w < words.size(); ++w) {
        const std::vector<bool> kept = std::exchange(words, std::vector(words.size(), false));
        words[w] = true;
        const bool adds = may_hold() && !calls_nowhere();
        words = kept;
        words[w] = words[w] || adds;
      }
    }
    return cube;
  }

  [[nodiscard]] Stop stop(const Cube& cube, const std::string& text) const {
    Stop out{.needs = {}, .text = text};
    for (std::size_t v = 0; v < cube.size(); ++v) {
      if (std::ranges::find(cube[v], false) == cube[v].end()) {
        continue;
      }
      Stop::Need& need = out.needs.emplace_back();
      need.question = variables_[v].question;
      for (std::size_t w = 0; w < cube[v].size(); ++w) {
        if (cube[v][w]) {
          need.words.push_back(variables_[v].words[w]);
        }
      }
    }
    return out;
  }

  const Form& form_;
  std::vector<Variable> variables_;
  FormAnswers answers_;
  std::vector<CallsFor> calls_for_;
};

// Whether `wide` holds wherever `narrow` does.
bool implies(const Stop& narrow, const Stop& wide) {
  return narrow.text == wide.text && std::ranges::all_of(wide.needs, [&](const Stop::Need& w) {
           const auto n = std::ranges::find(narrow.needs, w.question, &Stop::Need::question);
           return n != narrow.needs.end() &&
                  std::ranges::all_of(n->words, [&](const std::string& word) {
                    return std::ranges::find(w.words, word) != w.words.end();
                  });
         });
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

Stops stops_of(const Form& form, const Grader& grader) {
  const Knowledge& knowledge = grader.knowledge();
  const std::string& stop = stop_text(knowledge);
  Stops out;
  for (const std::vector<std::size_t>& questions : questions_for_stops(form, knowledge)) {
    const Combinations all(form, grader, questions);
    for (const std::string& text : all.texts()) {
      std::vector<Stop>& group = text == stop ? out.grade : out.before_driving;
      for (Stop& one : all.cover(text, stop)) {
        if (std::ranges::none_of(group, [&](const Stop& o) { return implies(one, o); })) {
          std::erase_if(group, [&](const Stop& o) { return implies(o, one); });
          group.push_back(std::move(one));
        }
      }
    }
  }
  return out;
}

}  // namespace form

std::vector<std::string> stop_now(const Form& form, const FormAnswers& answers,
                                  const Grader& grader) {
  const std::optional<Facts> facts = form::judged(form, answers, grader);
  return facts ? form::texts_for(grader.knowledge(), *facts) : std::vector<std::string>();
}

}  // namespace dryshaft

// The owner's form at a terminal, one question at a time.
#include <fmt/format.h>
#include <sys/random.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <csignal>
#include <cstdlib>
#include <ctime>
#include <memory>
#include <stdexcept>

#include "base/utf8.hpp"
#include "cli/cli.hpp"
#include "dryshaft/form.hpp"
#include "form/wording.hpp"

namespace dryshaft::cli {
namespace {

struct AskOptions {
  bool buying = false;
  std::optional<std::string> save;
  std::optional<std::string> units;
  std::optional<std::string> today;
  DataOptions data;
};

constexpr std::size_t kIndent = 7;
constexpr std::string_view kHow =
    "Type the number of an answer, or write it out. Enter alone skips a question. Also: "
    "back, skip, help, \"don't know\", and quit, which ends with what was answered so far.";

// The day by the clock of the machine, in its own time zone.
std::string day_by_clock() {
  const std::time_t now = std::time(nullptr);
  std::tm parts{};
  localtime_r(&now, &parts);
  return fmt::format("{:04}-{:02}-{:02}", parts.tm_year + 1900, parts.tm_mon + 1, parts.tm_mday);
}

// A name that no other car has: fifty bits by chance, without signs that look alike.
std::string drawn_name() {
  constexpr std::string_view kSigns = "23456789abcdefghijkmnpqrstuvwxyz";
  std::array<unsigned char, 10> chance{};
  if (getrandom(chance.data(), chance.size(), 0) != static_cast<ssize_t>(chance.size())) {
    throw std::runtime_error("the system gives no random numbers");
  }
  std::string out = "car-";
  for (std::size_t i = 0; i < chance.size(); ++i) {
    out += i == chance.size() / 2 ? "-" : "";
    out += kSigns[chance[i] % kSigns.size()];
  }
  return out;
}

// While it lives, Ctrl-C and the like end the wait for an answer, not the program. The second one
// does.
volatile std::sig_atomic_t interrupted_by = 0;
extern "C" void note_interruption(int signal) { interrupted_by = signal; }

class Interruptible {
 public:
  Interruptible() {
    struct sigaction noted {};
    noted.sa_handler = note_interruption;
    noted.sa_flags = SA_RESETHAND;  // and no SA_RESTART: a read under way ends
    for (std::size_t i = 0; i < kEnding.size(); ++i) {
      sigaction(kEnding[i], nullptr, &before_[i]);
      if (before_[i].sa_handler != SIG_IGN) {  // as nohup wants it
        sigaction(kEnding[i], &noted, nullptr);
      }
    }
  }
  Interruptible(const Interruptible&) = delete;
  Interruptible& operator=(const Interruptible&) = delete;
  Interruptible(Interruptible&&) = delete;
  Interruptible& operator=(Interruptible&&) = delete;
  ~Interruptible() {
    for (std::size_t i = 0; i < kEnding.size(); ++i) {
      sigaction(kEnding[i], &before_[i], nullptr);
    }
  }

 private:
  static constexpr std::array kEnding = {SIGHUP, SIGINT, SIGTERM};
  std::array<struct sigaction, kEnding.size()> before_{};
};

class Conversation {
 public:
  Conversation(const Form& form, const Grader& grader, const AskOptions& o, Output& output)
      : form_(form),
        grader_(grader),
        output_(output),
        answers_(form.questions.size()),
        today_(o.today.value_or(day_by_clock())) {
    if (o.units) {
      units_ = units_of(o.units);
    }
    for (std::size_t i = 0; i < answers_.size(); ++i) {
      const FormQuestion& q = form_.questions[i];
      if (q.field == Field::unit_id) {
        answers_[i].words = {drawn_name()};
      } else if (q.field == Field::date && !q.of_check) {
        answers_[i].words = {today_};
      }
    }
  }

  const FormAnswers& run() {
    say_head();
    std::size_t i = next(0);
    while (i < form_.questions.size()) {
      switch (ask(i)) {
        case Went::on:
          asked_.push_back(i);
          i = next(i + 1);
          break;
        case Went::back:
          if (asked_.empty()) {
            say("This is the first question.\n");
          } else {
            i = asked_.back();
            asked_.pop_back();
            part_ = FormPart::none;
          }
          break;
        case Went::out:
          return answers_;
      }
    }
    return answers_;
  }

  [[nodiscard]] bool any() const { return any_; }
  // In which distances were answered, or else asked for.
  [[nodiscard]] Units units() const { return units_.value_or(Units::km); }
  [[nodiscard]] bool input_ended() const { return ended_; }

 private:
  enum class Went { on, back, out };

  void say(const std::string& text) { output_.write(text); }

  void say_head() {
    for (const std::string& caution : form_.cautions) {
      say(folded("!", 2, caution));
    }
    say("\n" + folded("", 0, kHow));
  }

  [[nodiscard]] std::size_t next(std::size_t i) const {
    while (i < form_.questions.size() && !applies(form_, answers_, i)) {
      ++i;
    }
    return i;
  }

  // Progress: how many of the questions that apply, as far as is known now.
  [[nodiscard]] std::string where(std::size_t i) const {
    std::size_t before = 0;
    std::size_t all = 0;
    for (std::size_t j = 0; j < form_.questions.size(); ++j) {
      if (applies(form_, answers_, j)) {
        ++all;
        before += j <= i ? 1 : 0;
      }
    }
    return fmt::format("{}/{}", before, all);
  }

  void put(std::size_t i) {
    const FormQuestion& q = form_.questions[i];
    if (q.part != part_) {
      part_ = q.part;
      say(fmt::format("\n{}\n", spec(part_).title));
      say(folded("", 0, spec(part_).intro));
    }
    say("\n" + folded(where(i), kIndent, q.text) + folded("", kIndent, q.help));
    if (q.field == Field::unit_id) {
      say(folded("", kIndent, form::kDrawn));
    }
    for (std::size_t c = 0; c < q.choices.size(); ++c) {
      say(folded(fmt::format("{:>{}}", c + 1, kIndent - 2), kIndent, q.choices[c].text));
    }
    if (!q.choices.empty()) {
      say(folded(fmt::format("{:>{}}", q.choices.size() + 1, kIndent - 2), kIndent,
                 kDoNotKnow.plain));
    }
    if (q.several) {
      say(folded("", kIndent, "Several may fit: for example 1 3"));
    } else if (q.distance() && units_) {
      say(folded("", kIndent, fmt::format("in {}", unit_word())));
    } else if (q.choices.empty() && !q.required() && !q.sample.empty()) {
      say(folded("", kIndent, fmt::format("for example {}", q.sample)));
    }
    if (!answers_[i].words.empty()) {
      say(folded("", kIndent, fmt::format("[{}]", shown(i))));
    }
  }

  [[nodiscard]] std::string_view unit_word() const { return units_ == Units::mi ? "miles" : "km"; }

  [[nodiscard]] std::string shown(std::size_t i) const {
    const FormQuestion& q = form_.questions[i];
    std::string out;
    for (const std::string& word : answers_[i].words) {
      const auto c = std::ranges::find(q.choices, word, &FormChoice::word);
      out += (out.empty() ? "" : "; ") + (c == q.choices.end() ? word : c->text);
    }
    if (q.distance()) {
      out += answers_[i].units == Units::mi ? " miles" : " km";
    }
    return out;
  }

  // A line without white space around it and without what steers a terminal.
  bool hear(std::string& line) {
    say("> ");
    output_.flush();
    char* text = nullptr;
    std::size_t room = 0;
    const ssize_t length = interrupted_by != 0 ? -1 : getline(&text, &room, stdin);
    const std::unique_ptr<char, void (*)(void*)> owner(text, std::free);
    if (length < 0) {
      ended_ = true;
      say("\n");
      return false;
    }
    if (isatty(STDIN_FILENO) == 0) {
      say("\n");
    }
    line.clear();
    const std::string_view all(text, static_cast<std::size_t>(length));
    for (std::size_t at = 0; at < all.size();) {
      const utf8::Character c = utf8::decode(all, at);
      constexpr char32_t kEscape = 0x1B;
      if (c.code == kEscape && all.substr(at + 1).starts_with('[')) {  // a key such as an arrow
        at += 2;
        while (at < all.size() && all[at] >= ' ' && all[at] < '@') {
          ++at;
        }
        ++at;
        continue;
      }
      if (c.valid && !utf8::misleads(c.code)) {
        line += all.substr(at, c.length);
      }
      at += c.length;
    }
    line.erase(0, line.find_first_not_of(' '));
    line.erase(line.find_last_not_of(' ') + 1);
    return true;
  }

  Went ask(std::size_t i) {
    const FormQuestion& q = form_.questions[i];
    if (q.distance() && !units_ && !asked_units_) {
      if (const Went went = ask_units(); went != Went::on) {
        return went;
      }
    }
    put(i);
    std::string line;
    while (hear(line)) {
      const bool free = q.choices.empty() && q.row().type == FieldType::text;
      const auto is = [&](std::string_view word, std::string_view letter) {
        return line == word || (!free && line == letter);
      };
      if (is("back", "b")) {
        return Went::back;
      }
      if (is("quit", "q")) {
        return Went::out;
      }
      if (is("help", "h") || line == "?") {
        say(folded("", kIndent, kHow));
        put(i);
        continue;
      }
      if (line.empty()) {  // what stands in brackets stays
        return Went::on;
      }
      if (is("skip", "s") || is("don't know", "d")) {
        if (!q.required()) {
          answers_[i] = {};
        }
        return Went::on;
      }
      if (const std::optional<Went> went = take(i, line)) {
        return *went;
      }
    }
    return Went::out;
  }

  // No value: the question is still open.
  std::optional<Went> take(std::size_t i, const std::string& line) {
    const FormQuestion& q = form_.questions[i];
    ReadAnswer read = read_answer(q, line, units_);
    if (read.no_unit && !ended_) {
      if (const Went went = ask_units(); went != Went::on && !ended_) {
        return went;
      }
      read = read_answer(q, line, units_);
    }
    if (!read.problem.empty()) {
      refuse(read.problem, read.allowed,
             read.no_unit ? "write km or miles after the number" : read.hint);
      return std::nullopt;
    }
    if (q.required() && read.answer.words.empty()) {
      return Went::on;
    }
    const FormAnswer before = std::exchange(answers_[i], read.answer);
    if (!fits(i)) {
      answers_[i] = before;
      return std::nullopt;
    }
    if (q.distance() && !read.answer.words.empty()) {
      units_ = read.answer.units;
    }
    any_ = true;
    say_stop();
    return Went::on;
  }

  // Whether a record can be made with this answer; says why not. So one can be made at any time.
  bool fits(std::size_t i) {
    const FormQuestion& q = form_.questions[i];
    const std::string& word = answers_[i].words.empty() ? today_ : answers_[i].words.front();
    if (q.field == Field::date && !q.of_check && parse_date(word) && word > today_) {
      refuse(fmt::format("is {}, after today, {}", word, today_), "", "");
      return false;
    }
    const std::vector<FormComplaint> complaints =
        to_records(form_, answers_, grader_.read_options()).complaints;
    const auto own = std::ranges::find(complaints, i, &FormComplaint::question);
    if (own != complaints.end()) {
      refuse(own->diagnostic.message, own->diagnostic.allowed, own->diagnostic.hint);
    } else if (!complaints.empty()) {
      const FormComplaint& c = complaints.front();
      say(folded("", kIndent,
                 fmt::format("That answer does not go with your answer to \"{}\", which {}.",
                             form_.questions[c.question].text, c.diagnostic.message)));
      say(folded("", kIndent, c.diagnostic.hint));
    }
    return complaints.empty();
  }

  // As soon as the answers mean that the car must stand still, and again when they mean something
  // else.
  void say_stop() {
    std::vector<std::string> now = stop_now(form_, answers_, grader_);
    if (now != said_) {
      for (const std::string& text : now) {
        say("\n" + folded("     !", kIndent, text));
      }
      said_ = std::move(now);
    }
  }

  void refuse(const std::string& problem, const std::string& allowed, const std::string& hint) {
    say(folded("", kIndent, fmt::format("That answer {}.", problem)));
    if (!allowed.empty()) {
      say(folded("", kIndent, fmt::format("Possible: {}", allowed)));
    }
    if (!hint.empty()) {
      say(folded("", kIndent, hint));
    }
  }

  Went ask_units() {
    asked_units_ = true;
    say("\n" + folded("", kIndent, kFormUnitsQuestion));
    say(fmt::format("    1  km\n    2  miles\n"));
    std::string line;
    while (hear(line)) {
      if (line == "1" || line == "km") {
        units_ = Units::km;
      } else if (line == "2" || line == "mi" || line == "miles") {
        units_ = Units::mi;
      } else if (line == "back" || line == "b") {
        asked_units_ = false;
        return Went::back;
      } else if (line == "quit" || line == "q") {
        return Went::out;
      } else if (!line.empty() && line != "skip" && line != "s") {
        say(folded("", kIndent, "Type 1 or 2. Enter alone: write the unit after each number."));
        continue;
      }
      return Went::on;
    }
    return Went::out;
  }

  const Form& form_;
  const Grader& grader_;
  Output& output_;
  FormAnswers answers_;
  std::string today_;
  std::vector<std::string> said_;  // what the answers so far call for
  std::vector<std::size_t> asked_;
  FormPart part_ = FormPart::none;
  std::optional<Units> units_;
  bool asked_units_ = false;
  bool any_ = false;
  bool ended_ = false;
};

// In the file of `--save`. False where there is none, or it cannot be written.
bool is_saved(const FormRecords& made, const std::optional<std::string>& out) {
  if (!out || *out == "-") {
    return false;
  }
  Output file(out);
  file.write(made.text);
  return file.finish() == kDone;
}

[[noreturn]] void end_by(int signal) {
  std::signal(signal, SIG_DFL);
  std::raise(signal);
  std::abort();
}

// After Ctrl-C: the record, and no report.
[[noreturn]] void end_interrupted(const FormRecords& made, const std::optional<std::string>& out,
                                  Output& output) {
  output.flush();
  constexpr std::string_view kKept = "<stdin>: interrupted; what was answered so far is kept in";
  if (is_saved(made, out)) {
    warn(fmt::format("{} {}\n", kKept, utf8::harmless(*out)));
  } else {
    warn(fmt::format("{} this record:\n", kKept));
    output.write(made.text);
    output.finish();
  }
  end_by(interrupted_by);
}

int ask(const AskOptions& o) {
  (void)day_of("--today", o.today);
  Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  const Grader grader(std::move(*knowledge.value));
  const Form form = make_form(grader, o.buying ? FormFor::buyer : FormFor::owner);
  Output output(std::nullopt);
  Conversation conversation(form, grader, o, output);
  FormRecords made;
  {
    const Interruptible interruptible;
    const FormAnswers& answers = conversation.run();
    made = to_records(form, answers, grader.read_options());
    if (interrupted_by != 0) {
      if (!conversation.any()) {
        end_by(interrupted_by);
      }
      end_interrupted(made, o.save, output);
    }
  }
  if (!conversation.any()) {
    const int written = output.finish();
    warn("<stdin>: error[no-answers]: holds no answer, so there is no record\n");
    return written != kDone ? written : kRejected;
  }
  if (conversation.input_ended()) {
    output.flush();
    warn("<stdin>: the input ended; what was answered so far is kept\n");
  }
  if (!made.complaints.empty()) {
    for (FormComplaint& c : made.complaints) {
      c.diagnostic.source = "<stdin>";
      complain({c.diagnostic});
    }
    const int written = output.finish();
    return written != kDone ? written : kRejected;
  }
  // Where the file cannot be written, the record is shown: nothing that was answered is lost.
  const bool saved = is_saved(made, o.save);
  if (o.save && !saved) {
    output.write(made.text);
  }
  for (Record& r : made.records) {
    r.source = o.save.value_or("answers");
  }
  const Result<std::vector<History>> unit = group_by_unit(std::move(made.records));
  complain(unit.diagnostics);
  AssessOptions options;
  options.audience = Audience::owner;
  options.buying = o.buying;
  output.write("\n");
  output.write(
      to_text(grader.report(unit.value->front(), options),
              {.colour = false, .width = 80, .units = conversation.units(), .full = true}));
  const int written = output.finish();
  return written != kDone || saved || !o.save || *o.save == "-" ? written : kOutput;
}

}  // namespace

Run add_form_ask(CLI::App& form) {
  auto o = std::make_shared<AskOptions>();
  CLI::App* app =
      form.add_subcommand("ask", "Ask the questions at the terminal, then report to the owner");
  add_buying_option(*app, o->buying);
  app->add_option("--save", o->save, "Save the answers as a record in this file")
      ->type_name("FILE");
  add_units_option(*app, o->units);
  add_today_option(*app, o->today, "by the clock");
  add_examples(*app, {{"Ask the questions here, then give the report.", "dryshaft form ask"},
                      {"For someone about to buy the car; the answers are kept in a file.",
                       "dryshaft form ask --buying --save record.jsonl"}});
  add_data_options(*app, o->data);
  return [o] { return ask(*o); };
}

}  // namespace dryshaft::cli

// The form as plain text, to print or to mail.
#include <fmt/format.h>

#include <algorithm>

#include "dryshaft/form.hpp"
#include "form/wording.hpp"
#include "report/layout.hpp"

namespace dryshaft {
namespace {

constexpr std::size_t kWidth = 72;
constexpr std::size_t kIndent = 2;

class Text {
 public:
  void line(std::string_view text = {}) { (out_ += text) += '\n'; }
  // Folded, all lines from column `indent` on, the first after `label`.
  void folded(std::string_view text, std::size_t indent = 0, std::string_view label = {}) {
    bool first = true;
    for (const std::string& part : layout::wrap(layout::clean(text), kWidth - indent)) {
      line(fmt::format("{:<{}}{}", first ? label : "", indent, part));
      first = false;
    }
  }
  void question(std::string_view key, std::string_view text, std::string_view help) {
    line();
    folded(fmt::format("[{}] {}", key, text));
    if (!help.empty()) {
      folded(help, kIndent);
    }
  }
  void box(std::string_view text) { folded(text, kIndent + 4, "  [ ] "); }
  void answer() {
    line(fmt::format("{:{}}{} {:_>{}}", "", kIndent, form::kAnswer, "",
                     kWidth - kIndent - form::kAnswer.size() - 1));
  }
  void heading(std::string_view text) {
    line();
    line();
    line(layout::clean(text));
    line(std::string(layout::width(text), '-'));
  }
  std::string take() { return std::move(out_); }

 private:
  std::string out_;
};

std::string texts_of(const FormQuestion& gate, const std::vector<std::string>& words) {
  std::string out;
  for (const FormChoice& c : gate.choices) {
    if (std::ranges::find(words, c.word) != words.end()) {
      out += (out.empty() ? "\"" : "\" or \"") + c.text;
    }
  }
  return out += "\"";
}

void print(Text& t, const Form& form, const FormQuestion& q) {
  std::string help;
  if (!q.gate_words.empty()) {
    const FormQuestion& gate = form.questions[q.gate];
    help = fmt::format("(Only if [{}] is {}.) ", gate.key, texts_of(gate, q.gate_words));
  }
  help += q.help;
  if (!q.sample.empty() && q.choices.empty()) {
    help += fmt::format(" For example: {}", q.sample);
  }
  t.question(q.key, q.text, help);
  for (const FormChoice& c : q.choices) {
    t.box(c.text);
    if (!c.warning.empty()) {
      t.folded(c.warning, kIndent + 6, "      !");
    }
  }
  if (!q.choices.empty()) {
    t.box(kDoNotKnow.plain);
    return;
  }
  t.answer();
  for (int i = 0; i < 3 && q.long_text(); ++i) {
    t.line(fmt::format("{:{}}{:_>{}}", "", kIndent, "", kWidth - kIndent));
  }
}

}  // namespace

std::string blank_text(const Form& form) {
  Text t;
  t.line(form::kBegin);
  t.line();
  t.line(form::title_of(form.reader));
  t.line(std::string(form::title_of(form.reader).size(), '='));
  t.line();
  t.folded(form.reader == FormFor::buyer ? form::kBuyingAbout : form::kAbout);
  t.line();
  t.folded(form::kNoTools);
  t.line();
  for (const std::string& caution : form.cautions) {
    t.folded(caution, 2, "!");
  }
  t.line();
  t.folded(fmt::format(
      "How to fill it in, on paper or in a text editor: put an x between the brackets of the "
      "answer that fits, like [x], or write after \"{}\". Please leave the words in brackets, "
      "such as [{}], as they are: they tell the program which answer is which.",
      form::kAnswer, form.questions.empty() ? form::kUnitsKey : form.questions.front().key));
  t.line();
  t.folded(form::kGaps);
  t.question(form::kUnitsKey, kFormUnitsQuestion, {});
  for (const std::string_view unit : form::kUnitWords) {
    t.box(unit);
  }
  FormPart part = FormPart::none;
  for (const FormQuestion& q : form.questions) {
    if (q.part != part) {
      part = q.part;
      t.heading(spec(part).title);
      t.folded(spec(part).intro);
    }
    print(t, form, q);
  }
  t.line();
  t.line(form::kEnd);
  return t.take();
}

}  // namespace dryshaft

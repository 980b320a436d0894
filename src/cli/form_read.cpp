// Forms and mails that owners send back, into records, and a letter back to each.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <iterator>
#include <memory>
#include <utility>

#include "cli/cli.hpp"
#include "cli/letters.hpp"
#include "cli/mail.hpp"
#include "dryshaft/form.hpp"

namespace dryshaft::cli {
namespace {

struct FormReadOptions {
  std::vector<std::string> files;
  std::optional<std::string> out;
  std::optional<std::string> letters;
  std::optional<std::string> units;
  DataOptions data;
};

class FormRead {
 public:
  FormRead(const FormReadOptions& options, Knowledge knowledge)
      : o_(options), grader_(std::move(knowledge)), form_(make_form(grader_, FormFor::owner)) {}

  int run() {
    Output output(o_.out);
    for (const std::string& path : or_standard_input(o_.files)) {
      read(path, output);
    }
    const int written = output.finish();
    const int letters = o_.letters ? write() : kDone;
    return written != kDone || letters != kDone ? kOutput : bad_ ? kRejected : kDone;
  }

 private:
  void read(const std::string& path, Output& output) {
    LineSource source(path);
    std::string bytes = source.rest(kFormsFile);
    if (!source.error().empty()) {
      tell({input_complaint(source)});
      return;
    }
    for (const Sent& sent : sent_in(std::move(bytes), source.name())) {
      FormsRead forms = read_sent(form_, sent.texts, grader_.read_options());
      tell(forms.records.diagnostics);
      tell(sent.complaints);
      if (forms.records.records.empty()) {
        tell(sent.unread);
      }
      output.write(forms.text);
      std::ranges::move(forms.records.records, std::back_inserter(records_));
    }
  }

  void tell(const std::vector<Diagnostic>& complaints) { bad_ = complain(complaints) || bad_; }

  // As `assess` does with the records that were read.
  int write() {
    Result<std::vector<History>> grouped = group_by_unit(std::move(records_), std::nullopt);
    tell(grouped.diagnostics);
    const std::vector<History> histories =
        std::move(grouped.value).value_or(std::vector<History>{});
    Letters letters{*o_.letters, "html", units_of(o_.units), 1, {}};
    letters.options.today = newest_date(histories);
    Owners owners;
    for (std::size_t i = 0; i < histories.size(); ++i) {
      owners.add(i, grader_.report(histories[i], letters.options));
    }
    return write_letters(letters, grader_, histories, owners);
  }

  const FormReadOptions& o_;
  Grader grader_;
  Form form_;
  std::vector<Record> records_;
  bool bad_ = false;
};

}  // namespace

Run add_form_read(CLI::App& form) {
  auto o = std::make_shared<FormReadOptions>();
  CLI::App* app =
      form.add_subcommand("read", "Turn filled forms, mails, or what the page saved, into records");
  app->add_option("FILE", o->files, "Forms, pages or mails; - or no file: standard input");
  add_letters_option(*app, o->letters);
  add_units_option(*app, o->units);
  add_out_option(*app, o->out);
  add_data_options(*app, o->data);
  add_examples(*app, {{"Turn the answers in a mail into a record, and grade it for its owner.",
                       "dryshaft form read mail.txt | dryshaft assess --for owner"},
                      {"Turn saved mails into records, and write a page back to each owner.",
                       "dryshaft form read --letters letters --out records.jsonl mail.txt"}});
  return [o] {
    Result<Knowledge> knowledge = load(o->data);
    return knowledge.value ? FormRead(*o, std::move(*knowledge.value)).run() : int{kRejected};
  };
}

}  // namespace dryshaft::cli

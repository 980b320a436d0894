// The owner's form: blank, and back into records.
#include "dryshaft/form.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <utility>

#include "cli/cli.hpp"

namespace dryshaft::cli {
namespace {

struct FormOptions {
  std::string format = "text";
  std::string reader = "owner";
  bool buying = false;
  std::optional<std::string> workshop;
  std::optional<std::string> out;
  DataOptions data;
};

int blank(const FormOptions& o) {
  Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  const Grader grader(std::move(*knowledge.value));
  const bool technician = o.reader == "technician";
  const Form form = make_form(grader, technician ? FormFor::technician
                                      : o.buying ? FormFor::buyer
                                                 : FormFor::owner);
  if (o.format != "html" && !technician) {
    Output output(o.out);
    output.write(blank_text(form));
    return output.finish();
  }
  if (!pages_can_grade()) {
    throw Stop{
        kUsage,
        "this program was built without what a page grades by: build it where clang++-19 for "
        "WebAssembly is installed (see DEVELOPERS.md)" +
            std::string(technician ? "" : ", or write the form as text")};
  }
  if (o.data.overlay) {
    throw Stop{kUsage, "a page grades by rules and families, and by no overlay"};
  }
  FormPage page = own_data(o.data);
  page.workshop = o.workshop.value_or("");
  Output output(o.out);
  output.write(blank_html(form, page));
  return output.finish();
}

}  // namespace

Run add_form(CLI::App& parent) {
  auto o = std::make_shared<FormOptions>();
  CLI::App* app = parent.add_subcommand(
      "form", "Ask an owner: plain questions that need no tools; the answers are a record");
  app->require_subcommand(1);
  CLI::App* blanks = app->add_subcommand("blank", "Write an empty form: as text or as a page");
  add_format_option(*blanks, o->format, {"text", "html"});
  add_for_option(*blanks, o->reader);
  add_buying_option(*blanks, o->buying);
  blanks
      ->add_option("--workshop", o->workshop,
                   "Name and address that a page says to give the answers to")
      ->type_name("WHO");
  add_examples(*blanks, {{"The form as text: to print, to mail, or to fill in an editor.",
                          "dryshaft form blank --out form.txt"},
                         {"A page for an owner's phone: it asks, and shows the report.",
                          "dryshaft form blank --format html --out form.html"},
                         {"The page for whoever checks the port, at the lift.",
                          "dryshaft form blank --for technician --out lift.html"}});
  add_out_option(*blanks, o->out);
  add_data_options(*blanks, o->data);
  const Run read = add_form_read(*app);
  const Run ask = add_form_ask(*app);
  add_examples(*app, {{"Ask the questions here, then give the report.", "dryshaft form ask"},
                      {"The form as a page for a phone; it needs no network.",
                       "dryshaft form blank --format html --out form.html"}});
  return [=] { return app->got_subcommand("ask") ? ask() : blanks->parsed() ? blank(*o) : read(); };
}

}  // namespace dryshaft::cli

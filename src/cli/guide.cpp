#include "dryshaft/guide.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>

#include "cli/cli.hpp"

namespace dryshaft::cli {
namespace {

struct GuideOptions {
  std::string family;
  std::string vehicle;
  std::string check;
  std::string audience = "technician";
  std::string format = "text";
  std::optional<std::string> units;
  std::optional<std::string> out;
  DataOptions data;
  std::optional<std::string> guides;
};

int run(const GuideOptions& o) {
  const Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  const Knowledge& k = *knowledge.value;
  check_names(o.family, o.vehicle, k);
  const Result<Guides> loaded = load_guides(o.data, o.guides, k);
  if (!loaded.value) {
    return kRejected;
  }
  const Guides& guides = *loaded.value;
  const GuideRequest request{
      .family = o.family,
      .vehicle = o.vehicle,
      .check = o.check,
      .audience = o.audience == "owner" ? Audience::owner : Audience::technician,
      .units = units_of(o.units)};
  if (!o.check.empty()) {
    const std::vector<std::string_view> known = guide_checks(guides, k, request);
    if (std::ranges::find(known, o.check) == known.end()) {
      throw no_such("check", o.check, "checks", known);
    }
  }
  Output output(o.out);
  if (o.format == "html") {
    output.write(page_of(guide_sheet(guides, k, request), Grader(k), request.audience, o.data));
  } else if (o.format == "markdown") {
    output.write(guide_to_markdown(guides, k, request));
  } else {
    output.write(guide_to_text(guides, k, request,
                               {.colour = coloured(o.out), .width = 80, .units = request.units}));
  }
  return output.finish();
}

}  // namespace

Run add_guide(CLI::App& parent) {
  auto o = std::make_shared<GuideOptions>();
  CLI::App* app = parent.add_subcommand(
      "guide", "Print how to inspect a unit: the sensor port and the other checks, step by step");
  add_family_option(*app, o->family, "every way to the port");
  add_vehicle_option(*app, o->vehicle);
  app->add_option("--check", o->check, "This check alone, such as check-port")->type_name("ID");
  add_for_option(*app, o->audience);
  add_format_option(*app, o->format, {"text", "markdown", "html"});
  add_out_option(*app, o->out);
  add_units_option(*app, o->units);
  add_data_options(*app, o->data);
  add_guides_option(*app, o->guides);
  add_examples(*app, {{"How to reach the sensor port of this car, step by step.",
                       "dryshaft guide --family plover-2 --vehicle Tarn --check check-port"},
                      {"What an owner can look at and listen to, without tools.",
                       "dryshaft guide --for owner"}});
  return [o] { return run(*o); };
}

}  // namespace dryshaft::cli

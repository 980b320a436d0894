#include "dryshaft/knowledge.hpp"

#include <algorithm>
#include <stdexcept>

#include "base/promise.hpp"
#include "knowledge/condition.hpp"

namespace dryshaft {
namespace {

constexpr std::array<std::string_view, 4> kOutlooks = {"routine", "unknown", "major-parts",
                                                       "doubtful"};

constexpr std::array<std::string_view, kActionRoleCount> kActionRoles = {
    "stop", "look-at-port", "look-again", "record-sound"};

constexpr std::string_view kContradictionIds[] = {
    "kind-without-fluid",     "glycol-without-fluid",     "glycol-against-kind",
    "coolant-in-dry-rotor",   "cooling-against-family",   "noise-described-but-absent",
    "noise-before-it-began",  "renewed-after-inspection", "fitted-after-inspection",
    "built-after-inspection", "odometer-backwards",       "not-one-unit",
    "work-out-of-place",      "work-told-two-ways",
};

constexpr std::string_view kRuleFiles[] = {"rules.json",    "causes.json", "life.json",
                                           "links.json",    "floors.json", "actions.json",
                                           "cautions.json", "grades.json"};

template <typename Items>
auto with_id(const Items& items, std::string_view id) -> const typename Items::value_type* {
  const auto found =
      std::ranges::find(items, id, [](const auto& i) -> std::string_view { return i.id; });
  return found == items.end() ? nullptr : &*found;
}

}  // namespace

std::string shown(const Provenance& provenance) {
  switch (provenance.mark) {
    case SourceMark::published:
      return provenance.citation;
    case SourceMark::common_practice:
      return "common practice, no source";
    case SourceMark::own_teardowns:
      return "own teardowns, with the estimate that they replace as prior";
    case SourceMark::own_shop:
      return "own shop";
    case SourceMark::from_memory:
      break;
  }
  return "an estimate, from memory";
}

std::string_view name(Outlook outlook) { return kOutlooks[static_cast<std::size_t>(outlook)]; }
std::string_view name(ActionRole role) { return kActionRoles[static_cast<std::size_t>(role)]; }
std::span<const std::string_view> contradiction_ids() { return kContradictionIds; }
std::span<const std::string_view> rule_file_names() { return kRuleFiles; }

std::optional<Tyre> parse_tyre(std::string_view text) {
  // Digits up to `end`; nothing where there are none or too many.
  const auto number = [&text](char end) -> std::optional<double> {
    const std::size_t size = end == '\0' ? text.size() : text.find(end);
    constexpr std::size_t kMostDigits = 3;
    if (size == std::string_view::npos || size == 0 || size > kMostDigits) {
      return std::nullopt;
    }
    double value = 0;
    for (const char c : text.substr(0, size)) {
      if (c < '0' || c > '9') {
        return std::nullopt;
      }
      value = value * 10 + (c - '0');
    }
    text.remove_prefix(end == '\0' ? size : size + 1);
    return value > 0 ? std::optional(value) : std::nullopt;
  };
  const auto width = number('/');
  const auto aspect = width ? number('R') : std::nullopt;
  const auto rim = aspect ? number('\0') : std::nullopt;
  return rim ? std::optional(Tyre{*width, *aspect, *rim}) : std::nullopt;
}

double outer_diameter_mm(const Tyre& tyre) {
  constexpr double kMmPerInch = 25.4;
  return tyre.rim_inch * kMmPerInch + 2 * tyre.width_mm * tyre.aspect_percent / 100;
}

const ServicePart* Service::part(std::string_view wanted) const { return with_id(parts, wanted); }

const Family& Knowledge::family(std::string_view wanted) const {
  for (const std::string_view name : {wanted, kGenericFamily}) {
    if (const Family* found = with_id(families, name)) {
      return *found;
    }
  }
  broken_promise<std::logic_error>("no family `generic`: the loader does not allow that");
}
ReadOptions read_options(const Knowledge& knowledge) {
  ReadOptions options;
  for (const Family& f : knowledge.families) {
    std::vector<std::string> vehicles;
    for (const VehicleProfile& v : f.vehicles) {
      vehicles.push_back(v.id);
    }
    options.families.emplace_back(f.id, std::move(vehicles));
  }
  return options;
}

const ActionRule* Knowledge::action(std::string_view wanted) const {
  return with_id(actions, wanted);
}
const ActionRule& Knowledge::action(ActionRole wanted) const {
  const auto found = std::ranges::find(actions, wanted, &ActionRule::role);
  if (found == actions.end()) {
    broken_promise<std::logic_error>("no action has a role: the loader does not allow that");
  }
  return *found;
}
// Of those for every report, the ones that need no finding: here is no unit yet.
std::vector<std::pair<std::string, std::string>> Knowledge::cautions_for(ActionRole wanted) const {
  const std::vector<std::string>& needed = action(wanted).cautions;
  std::vector<std::pair<std::string, std::string>> found;
  for (const CautionRule& c : cautions) {
    if ((c.always && always_holds(c.when)) || std::ranges::find(needed, c.id) != needed.end()) {
      found.emplace_back(c.id, c.text);
    }
  }
  return found;
}
const CautionRule* Knowledge::caution(std::string_view wanted) const {
  return with_id(cautions, wanted);
}
const ContradictionRule* Knowledge::contradiction(std::string_view wanted) const {
  return with_id(contradictions, wanted);
}

}  // namespace dryshaft

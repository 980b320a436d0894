#include "guide/values.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "dryshaft/guide.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace guide {
namespace {

constexpr double kOhmPerMegohm = 1e6;

double voltage(const ValueSource& from) {
  return from.family.system_voltage.value_or(from.knowledge.settings.assumed_voltage);
}

std::string system_voltage(const ValueSource& from) {
  return fmt::format("{:g} V{}", voltage(from),
                     from.family.system_voltage ? "" : " (assumed: not known for this family)");
}

// A limit per volt as a reading at the system voltage.
std::string megohm(double ohm_per_volt, const ValueSource& from) {
  return fmt::format("{:.3g} megohm", ohm_per_volt * voltage(from) / kOhmPerMegohm);
}

struct Value {
  std::string_view name;
  std::string (*of)(const ValueSource&);
};

constexpr Value kValues[] = {
    {"system-voltage", system_voltage},
    {"insulation-low",
     [](const ValueSource& v) {
       return fmt::format("{:g} ohm/V", v.knowledge.settings.ohm_per_volt_low);
     }},
    {"insulation-low-reading",
     [](const ValueSource& v) { return megohm(v.knowledge.settings.ohm_per_volt_low, v); }},
    {"insulation-least",
     [](const ValueSource& v) {
       return fmt::format("{:g} ohm/V", v.knowledge.settings.ohm_per_volt_least);
     }},
    {"insulation-least-reading",
     [](const ValueSource& v) { return megohm(v.knowledge.settings.ohm_per_volt_least, v); }},
    {"insulation-ieee43",
     [](const ValueSource& v) {
       return fmt::format("{:g} megohm", v.knowledge.settings.ieee43_mohm);
     }},
    {"longest-recheck",
     [](const ValueSource& v) {
       const GradeRule& best = v.knowledge.grades[static_cast<std::size_t>(Grade::A)];
       return words::deadline(best.recheck_km, best.recheck_days, v.units);
     }},
};

const Value* value_named(std::string_view name) {
  const auto* value = std::ranges::find(kValues, name, &Value::name);
  return value == std::end(kValues) ? nullptr : value;
}

}  // namespace

std::string filled(std::string_view text, const ValueSource& source) {
  std::string out;
  while (!text.empty()) {
    const std::size_t open = text.find('{');
    const std::size_t close = text.find('}', open == std::string_view::npos ? 0 : open);
    if (open == std::string_view::npos || close == std::string_view::npos) {
      break;
    }
    const Value* value = value_named(text.substr(open + 1, close - open - 1));
    out += text.substr(0, open);
    out += value != nullptr ? value->of(source) : std::string(text.substr(open, close - open + 1));
    text.remove_prefix(close + 1);
  }
  out += text;
  return out;
}

BadName bad_name(std::string_view text) {
  for (std::size_t open = text.find('{'); open != std::string_view::npos;
       open = text.find('{', open + 1)) {
    const std::size_t close = std::min(text.find('}', open), text.size());
    const std::string_view name = text.substr(open + 1, close - open - 1);
    if (close == text.size() || value_named(name) == nullptr) {
      return {true, name};
    }
  }
  return {};
}

}  // namespace guide

std::vector<std::string_view> guide_values() {
  std::vector<std::string_view> names;
  for (const guide::Value& v : guide::kValues) {
    names.push_back(v.name);
  }
  return names;
}

}  // namespace dryshaft

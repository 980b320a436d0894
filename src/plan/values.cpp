#include "plan/values.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

namespace dryshaft::plan {
namespace {

std::string voltage(const Knowledge& k, const Family& f) {
  return f.system_voltage ? fmt::format("{:g} V", *f.system_voltage)
                          : fmt::format("{:g} V (assumed)", k.settings.assumed_voltage);
}
double volts(const Knowledge& k, const Family& f) {
  return f.system_voltage.value_or(k.settings.assumed_voltage);
}

struct LineValue {
  std::string_view name;
  std::string (*value)(const Knowledge&, const Family&);
};
constexpr std::array kLineValues = {
    LineValue{"system-voltage", voltage},
    LineValue{"insulation-low",
              [](const Knowledge& k, const Family& /*f*/) {
                return fmt::format("{:g} ohm per volt", k.settings.ohm_per_volt_low);
              }},
    LineValue{"insulation-low-mohm",
              [](const Knowledge& k, const Family& f) {
                constexpr double kOhm = 1e6;
                return fmt::format("{:g} megohm", k.settings.ohm_per_volt_low * volts(k, f) / kOhm);
              }},
    LineValue{"insulation-ieee43",
              [](const Knowledge& k, const Family& /*f*/) {
                return fmt::format("{:g} megohm at 40 deg C", k.settings.ieee43_mohm);
              }},
};

// Calls `use` with each name in braces and where it begins and ends.
template <typename Use>
void each_name(std::string_view text, Use use) {
  for (std::size_t open = text.find('{'); open != std::string_view::npos;
       open = text.find('{', open + 1)) {
    const std::size_t close = text.find('}', open);
    if (close == std::string_view::npos) {
      use(text.substr(open + 1), open, text.size());
      return;
    }
    use(text.substr(open + 1, close - open - 1), open, close + 1);
  }
}

const LineValue* value_named(std::string_view name) {
  const auto* found = std::ranges::find(kLineValues, name, &LineValue::name);
  return found == kLineValues.end() ? nullptr : found;
}

}  // namespace

std::vector<std::string_view> line_values() {
  std::vector<std::string_view> names;
  names.reserve(kLineValues.size());
  for (const LineValue& v : kLineValues) {
    names.push_back(v.name);
  }
  return names;
}

std::string_view unknown_value(std::string_view text) {
  std::string_view unknown;
  each_name(text, [&](std::string_view name, std::size_t /*begin*/, std::size_t /*end*/) {
    if (unknown.empty() && value_named(name) == nullptr) {
      unknown = name.empty() ? "{}" : name;
    }
  });
  return unknown;
}

std::string with_values(std::string_view text, const Knowledge& knowledge, const Family& family) {
  std::string out;
  std::size_t from = 0;
  each_name(text, [&](std::string_view name, std::size_t begin, std::size_t end) {
    out += text.substr(from, begin - from);
    if (const LineValue* value = value_named(name)) {
      out += value->value(knowledge, family);
    }
    from = end;
  });
  return out.append(text.substr(from));
}

}  // namespace dryshaft::plan

#include "vocabulary/formats.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

namespace dryshaft {
namespace {

constexpr std::string_view kPrefix = "dryshaft-";
constexpr std::string_view kVersion = "/1";

constexpr std::array kFormats = {
    FormatName{"record", "an inspection record, which check and assess read"},
    FormatName{"report", "a report, which assess writes"},
    FormatName{"plan", "a plan for a unit, which plan writes"},
    FormatName{"yard", "a plan for a yard, which plan --intake writes"},
    FormatName{"onset", "leak statistics, which fit onset writes and --onset reads"},
    FormatName{"onset-prior", "what --prior of fit onset reads"},
    FormatName{"outcomes", "a comparison with teardowns, which fit outcomes writes"},
    FormatName{"overlay", "an overlay of rules, which fit outcomes writes and --rules reads"},
    FormatName{"noise", "a report on a recording, which listen writes"},
    FormatName{"complaints", "errors and warnings, which the library for C writes"},
    FormatName{"rules", "rule data, which --rules reads"},
    FormatName{"family", "a family profile, which --families reads"},
    FormatName{"guide", "a guide, which --guides reads"},
    FormatName{"work", "work data, which --work reads"},
    FormatName{"prices", "a price book, which --prices reads"},
    FormatName{"columns", "what columns mean, which --columns reads"},
    FormatName{"cases", "cases, which rules test reads"},
    FormatName{"comparison", "what became other, which compare writes"},
    FormatName{"summary", "what a run came to, which --summary writes"},
    FormatName{"accepted", "known bad inputs, which --accepted reads"},
};

}  // namespace

std::span<const FormatName> format_names() { return kFormats; }

std::string format_id(std::string_view name) {
  return fmt::format("{}{}{}", kPrefix, name, kVersion);
}

std::string schema_address(std::string_view name) {
  return fmt::format("https://dryshaft.invalid/schemas{}/{}.schema.json", kVersion, name);
}

std::string format_hint(std::string_view found, std::string_view wanted) {
  const std::size_t slash = found.rfind('/');
  if (!found.starts_with(kPrefix) || slash == std::string_view::npos) {
    return {};
  }
  const std::string_view name = found.substr(kPrefix.size(), slash - kPrefix.size());
  const std::string_view version = found.substr(slash + 1);
  const auto known = std::ranges::find(kFormats, name, &FormatName::name);
  const bool is_number = !version.empty() && version.front() != '0' &&
                         version.find_first_not_of("0123456789") == std::string_view::npos;
  if (known == kFormats.end() || !is_number) {
    return {};
  }
  if (found == format_id(name)) {
    return fmt::format("this is {}", known->is);
  }
  return format_id(name) == wanted
             ? fmt::format("this program is older than the file: it knows {}; take a newer one",
                           wanted)
             : fmt::format("this is {}, of a version that this program does not know", known->is);
}

}  // namespace dryshaft

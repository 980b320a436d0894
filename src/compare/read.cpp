// Reports that were kept, as far as they are compared.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <utility>

#include "base/complaints.hpp"
#include "base/located_json.hpp"
#include "base/number.hpp"
#include "base/utf8.hpp"
#include "dryshaft/compare.hpp"
#include "record/cells.hpp"
#include "record/layout.hpp"

namespace dryshaft {
namespace {

using located::Document;
using located::Kind;
using located::Node;

constexpr located::Limits kReportLimits{.depth = 32, .bytes = std::size_t{64} << 20U};

// Reports of one set, each unit once.
class Reports {
 public:
  void add(Report report, Diagnostic at) {
    const auto [found, is_new] = place_.emplace(report.unit_id, reports_.size());
    if (is_new) {
      reports_.push_back(std::move(report));
      return;
    }
    Report& other = reports_[found->second];
    at.code = "repeated-unit";
    at.message = fmt::format("is another report on {}: the one with the worse grade is compared",
                             utf8::harmless(report.unit_id));
    at.hint = "grade all records of a unit together: one run, or --format json";
    complain(std::move(at));
    if (severity(report.grade) > severity(other.grade)) {
      other = std::move(report);
    }
  }
  void complain(Diagnostic d) { add_complaint(complaints_, std::move(d)); }
  std::vector<Diagnostic>& complaints() { return complaints_; }

  Result<std::vector<Report>> done(std::string_view name) {
    if (reports_.empty() && complaints_.empty()) {
      Diagnostic d;
      d.code = "empty";
      d.source = name;
      d.message = "holds no report";
      complaints_.push_back(std::move(d));
    }
    return {std::move(reports_), std::move(complaints_)};
  }

 private:
  std::vector<Report> reports_;
  std::map<std::string, std::size_t> place_;
  std::vector<Diagnostic> complaints_;
};

// One report. What is not there, or not as `to_json` writes it, is left blank; but a report
// without a unit or a grade is none.
class ReportReader {
 public:
  explicit ReportReader(const Document& document) : d_(document) {}

  std::optional<Report> read(std::vector<Diagnostic>& complaints) {
    const Node& root = d_.root();
    const std::string format = text(root, "format");
    if (root.kind != Kind::object || format != kReportFormat) {
      Diagnostic d = d_.at(root, "not-a-report", "is no report");
      d.allowed = fmt::format("what assess --format json or jsonl writes ({})", kReportFormat);
      complaints.push_back(std::move(d));
      return std::nullopt;
    }
    Report r;
    r.unit_id = text(root, "unit_id");
    const std::string said = text(root, "grade");
    const std::optional<Grade> grade = grade_named(said);
    if (r.unit_id.empty() || !grade) {
      const Node* at = d_.find(root, r.unit_id.empty() ? "unit_id" : "grade");
      complaints.push_back(d_.at(at != nullptr ? *at : root, "bad-value",
                                 r.unit_id.empty() ? "has no unit_id" : "has no grade A to U"));
      return std::nullopt;
    }
    r.grade = *grade;
    r.at_least = grade_named(text(root, "at_least"));
    r.risk = number(root, "risk").value_or(0);
    r.as_of = text(root, "as_of");
    r.date = text(root, "date");
    basis(root, r);
    each(root, "floors", [&](const Node& n) {
      r.floors.push_back(
          {text(n, "rule"), grade_named(text(n, "grade")).value_or(Grade::U), text(n, "because")});
    });
    each(root, "reasons", [&](const Node& n) { r.reasons.emplace_back(n.text); });
    each(root, "actions", [&](const Node& n) {
      r.actions.push_back({.id = text(n, "id"),
                           .rule = text(n, "rule"),
                           .text = text(n, "text"),
                           .urgency = urgency_named(text(n, "urgency")).value_or(Urgency::now),
                           .within_km = number(n, "within_km"),
                           .within_days = number(n, "within_days"),
                           .because = text(n, "because")});
    });
    each(root, "due", [&](const Node& n) {
      const Node* overdue = d_.find(n, "overdue");
      r.due.push_back({text(n, "action"), number(n, "due_km"), text(n, "due_date"),
                       overdue != nullptr && overdue->boolean});
    });
    return r;
  }

 private:
  void basis(const Node& root, Report& r) const {
    if (const Node* rules = member(root, "rules")) {
      r.rules_id = text(*rules, "id");
      r.rules_version = text(*rules, "version");
      r.rules_sha256 = text(*rules, "sha256");
      if (const Node* overlay = member(*rules, "overlay")) {
        r.rules_overlay.emplace().sha256 = text(*overlay, "sha256");
      }
    }
    if (const Node* family = member(root, "family")) {
      r.family = text(*family, "id");
      r.family_sha256 = text(*family, "sha256");
    }
    if (const Node* onset = member(root, "onset")) {
      r.onset.emplace().sha256 = text(*onset, "sha256");
    }
    r.records_sha256 = text(root, "records_sha256");
  }

  [[nodiscard]] const Node* member(const Node& object, std::string_view key) const {
    const Node* found = object.kind == Kind::object ? d_.find(object, key) : nullptr;
    return found != nullptr && found->kind == Kind::object ? found : nullptr;
  }
  [[nodiscard]] std::string text(const Node& object, std::string_view key) const {
    const Node* found = object.kind == Kind::object ? d_.find(object, key) : nullptr;
    return found != nullptr && found->kind == Kind::text ? std::string(found->text) : "";
  }
  [[nodiscard]] std::optional<double> number(const Node& object, std::string_view key) const {
    const Node* found = object.kind == Kind::object ? d_.find(object, key) : nullptr;
    return found != nullptr && found->kind == Kind::number ? std::optional(found->number)
                                                           : std::nullopt;
  }
  template <typename Take>
  void each(const Node& object, std::string_view key, const Take& take) const {
    const Node* list = d_.find(object, key);
    if (list == nullptr || list->kind != Kind::array) {
      return;
    }
    for (const Node* n = d_.first(*list); n != nullptr; n = d_.next(*n)) {
      take(*n);
    }
  }

  const Document& d_;
};

Report report_of_row(const std::map<std::string, std::size_t>& columns, const TableRow& row) {
  const auto cell = [&](const char* column) {
    const auto found = columns.find(column);
    return found == columns.end() || found->second >= row.cells.size()
               ? std::string()
               : row.cells[found->second].text;
  };
  Report r;
  r.unit_id = cell("unit_id");
  r.grade = grade_named(cell("grade")).value_or(Grade::U);
  r.at_least = grade_named(cell("at_least"));
  r.risk = number_in(cell("risk")).value_or(0);
  r.as_of = cell("as_of");
  r.date = cell("date");
  r.rules_sha256 = cell("rules_sha256");
  r.family_sha256 = cell("family_sha256");
  r.records_sha256 = cell("records_sha256");
  if (const std::string overlay = cell("overlay_sha256"); !overlay.empty()) {
    r.rules_overlay.emplace().sha256 = overlay;
  }
  if (const std::string onset = cell("onset_sha256"); !onset.empty()) {
    r.onset.emplace().sha256 = onset;
  }
  if (const std::string action = cell("first_action"); !action.empty()) {
    r.actions.push_back({.id = action,
                         .rule = {},
                         .text = cell("first_action_title"),
                         .urgency = urgency_named(cell("urgency")).value_or(Urgency::now),
                         .within_km = number_in(cell("within_km")),
                         .within_days = number_in(cell("within_days")),
                         .because = {}});
  }
  if (const std::string action = cell("due_action"); !action.empty()) {
    r.due.push_back(
        {action, number_in(cell("due_km")), cell("due_date"), cell("overdue") == kNoYes[1].id});
  }
  return r;
}

Diagnostic at_line(std::string_view name, std::uint32_t line) {
  Diagnostic d;
  d.source = name;
  d.line = line;
  return d;
}

}  // namespace

Result<std::vector<Report>> read_reports(std::string_view text, std::string_view name) {
  Reports out;
  const std::string source(name);
  std::uint32_t line = 1;
  std::size_t counted = 0;
  // Between reports may stand what makes a list of them.
  constexpr std::string_view kBetween = " \t\r\n,[]\xEF\xBB\xBF";
  for (std::size_t at = 0; (at = text.find_first_not_of(kBetween, at)) != text.npos;) {
    line += static_cast<std::uint32_t>(
        std::count(text.begin() + static_cast<std::ptrdiff_t>(counted),
                   text.begin() + static_cast<std::ptrdiff_t>(at), '\n'));
    counted = at;
    std::size_t end = std::min(text.find('\n', at), text.size());
    if (text[at] == '{') {
      const Extent object = balanced(text, at);
      end = object.closed ? object.end : end;
    }
    const Document document(text.substr(at, end - at), {source, line, 1}, kReportLimits,
                            out.complaints());
    if (document.usable()) {
      if (std::optional<Report> report = ReportReader(document).read(out.complaints())) {
        out.add(*std::move(report), at_line(name, line));
      }
    }
    at = end;
  }
  return out.done(name);
}

Result<std::vector<Report>> read_report_table(std::string_view text, std::string_view name) {
  Reports out;
  std::map<std::string, std::size_t> columns;
  std::uint32_t line = 1;
  std::size_t counted = 0;
  for (std::size_t at = 0; at < text.size();) {
    const TableRow row = read_row(text, at, ',');
    line += static_cast<std::uint32_t>(
        std::count(text.begin() + static_cast<std::ptrdiff_t>(counted),
                   text.begin() + static_cast<std::ptrdiff_t>(row.begin), '\n'));
    counted = row.begin;
    at = row.next;
    if (row.blank()) {
      continue;
    }
    if (columns.empty()) {
      for (std::size_t i = 0; i < row.cells.size(); ++i) {
        columns.emplace(row.cells[i].text, i);
      }
      if (!columns.contains("unit_id") || !columns.contains("grade")) {
        Diagnostic d = at_line(name, line);
        d.code = "not-a-report";
        d.message = "is no table of reports";
        d.allowed = "what assess --format csv writes";
        out.complain(std::move(d));
        break;
      }
      continue;
    }
    Report r = report_of_row(columns, row);
    if (!row.fault.empty() || r.unit_id.empty() ||
        row.cells[columns.at("grade")].text != dryshaft::name(r.grade)) {
      Diagnostic d = at_line(name, line);
      d.code = "bad-value";
      d.message = "is no row of a report: it has no unit_id, or no grade A to U";
      out.complain(std::move(d));
      continue;
    }
    out.add(std::move(r), at_line(name, line));
  }
  return out.done(name);
}

}  // namespace dryshaft

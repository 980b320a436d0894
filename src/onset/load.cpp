// A `dryshaft-onset/1` text as what a shop's grader wears by.
#include <fmt/format.h>

#include <cmath>

#include "base/located_json.hpp"
#include "base/sha256.hpp"
#include "dryshaft/onset.hpp"
#include "knowledge/object_view.hpp"

namespace dryshaft {
namespace {

using located::Kind;
using located::Node;

constexpr double kFarthest = 1e9;
constexpr std::size_t kMostPoints = 10000;

// Pairs [at, hazard] of which both rise.
std::vector<WearPoint> hazard_table(ObjectView& view, const Node& list) {
  const located::Document& doc = view.document();
  std::vector<WearPoint> points;
  const auto shape = [&](const Node& node) {
    view.complain(node, "wrong-type", fmt::format("is {}", located::shown(doc, node)),
                  "an array of at least 2 pairs [distance or age, cumulative hazard]");
  };
  if (list.kind != Kind::array || list.children < 2 || list.children > kMostPoints) {
    shape(list);
    return {};
  }
  for (const Node* n = doc.first(list); n != nullptr; n = doc.next(*n)) {
    if (n->kind != Kind::array || n->children != 2) {
      shape(*n);
      return {};
    }
    const Node* at = doc.first(*n);
    const Node* hazard = doc.next(*at);
    const std::size_t before = view.complaints().size();
    const WearPoint p{view.number_at(*at, 1e-9, kFarthest),
                      view.number_at(*hazard, 1e-300, kFarthest)};
    if (view.complaints().size() != before) {
      return {};
    }
    // Between two points the hazard is taken by logs of their places, which must differ too.
    const bool place = !points.empty() && std::log(p.at) <= std::log(points.back().at);
    if (place || (!points.empty() && p.hazard <= points.back().hazard)) {
      view.complain(place ? *at : *hazard, "not-rising",
                    fmt::format("is {}", located::shown(doc, place ? *at : *hazard)),
                    "a number above that of the pair before");
      return {};
    }
    points.push_back(p);
  }
  return points;
}

}  // namespace

bool use_onset(Knowledge& knowledge, const NamedText& file, std::vector<Diagnostic>& out) {
  const std::size_t before = out.size();
  constexpr located::Limits kOnsetLimits{.depth = 32, .bytes = std::size_t{64} << 20U};
  const located::Document document(file.text, {.source = file.name}, kOnsetLimits, out);
  if (!document.usable()) {
    return false;
  }
  ObjectView view(document, document.root(), out);
  if (!view.is_object()) {
    return false;
  }
  view.word("format", {kOnsetFormat});
  OnsetBasis basis;
  basis.source = file.name;
  basis.sha256 = sha256_hex(file.text);
  basis.units = view.number("units", 0, kMostOnsetUnits);
  std::vector<WearPoint> points;
  if (const Node* grader = view.required("grader")) {
    if (grader->kind == Kind::null) {
      view.complain(*grader, "no-grader", "is null", "what fit onset writes from records",
                    "fit records, or a table with --over km or --over years");
    } else {
      ObjectView inside(document, *grader, out);
      if (inside.is_object()) {
        basis.by_years = inside.word("axis", {"km", "years"}).value_or(0) == 1;
        if (const Node* hazard = inside.required("hazard")) {
          points = hazard_table(inside, *hazard);
        }
      }
    }
  }
  std::optional<Wear>& wear = knowledge.causes[static_cast<std::size_t>(Cause::seal_leak)].wear;
  if (!wear) {
    view.complain(view.node(), "no-wear",
                  "has no place in rules whose seal leak does not wear out");
  }
  if (out.size() != before) {
    return false;
  }
  wear->table = std::move(points);
  wear->table_by_years = basis.by_years;
  knowledge.onset = std::move(basis);
  return true;
}

}  // namespace dryshaft

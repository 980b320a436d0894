// An overlay: strengths that a shop's own teardowns put in place of shipped ones.
#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/located_json.hpp"
#include "base/sha256.hpp"
#include "dryshaft/knowledge.hpp"
#include "knowledge/object_view.hpp"

namespace dryshaft {
namespace {

constexpr double kMostTeardowns = 1e9;

class OverlayReader {
 public:
  OverlayReader(const Knowledge& base, const NamedText& text) : k_(base), file_(text.name) {
    k_.overlay.emplace();
    k_.overlay->name = text.name;
    k_.overlay->sha256 = sha256_hex(text.text);
  }

  Result<Knowledge> read(const std::string& text) {
    const located::Document document(text, {.source = file_}, kDataLimits, out_);
    if (document.usable()) {
      ObjectView top(document, document.root(), out_);
      if (top.is_object()) {
        members(top);
        top.done();
      }
    }
    Result<Knowledge> result;
    result.diagnostics = std::move(out_);
    if (!result.has_errors()) {
      result.value = std::move(k_);
    }
    return result;
  }

 private:
  void members(ObjectView& top) {
    top.word("format", {kOverlayFormat});
    if (const located::Node* node = top.required("rules")) {
      made_for(top, *node);
    }
    k_.overlay->teardowns = static_cast<std::size_t>(top.whole("teardowns", kMostTeardowns));
    top.optional_number("prior_weight", 0, kMostTeardowns);
    top.optional_text("records_sha256");
    top.optional_text("tool");
    items(top, "backgrounds", "anyway", k_.backgrounds, &Background::anyway);
    items(top, "links", "shows", k_.links, &Link::shows);
  }

  void made_for(ObjectView& top, const located::Node& node) {
    ObjectView rules(top.document(), node, out_);
    const std::string id = rules.text("id");
    const std::string version = rules.text("version");
    const located::Node* hash = rules.required("sha256");
    if (hash != nullptr) {
      const std::string wanted = rules.text_at(*hash);
      if (wanted != k_.rules_sha256) {
        rules.complain(
            *hash, "other-rules", fmt::format("is \"{}\"", wanted), k_.rules_sha256,
            fmt::format("this overlay was made for other rules ({} version {}): name those with "
                        "--rules as well, or make it again with `fit outcomes`",
                        id, version));
      }
    }
    rules.done();
  }

  template <typename Rule>
  void items(ObjectView& top, std::string_view list, std::string_view values,
             std::vector<Rule>& rules, std::array<double, kMaxLevels> Rule::*levels) {
    const Words known = ids_of(rules);
    std::set<std::size_t> seen;
    for (ObjectView& view : top.objects(list)) {
      const auto which = view.word("id", known);
      Item about;
      about.file = file_;
      about.line = view.document().at(view.node(), "", "").line;
      about.reason = view.text("reason");
      about.source.mark = SourceMark::own_teardowns;
      view.word("source", {"own teardowns"});
      view.whole("teardowns", kMostTeardowns);
      if (!which) {
        view.optional(values);
      } else {
        if (!seen.insert(*which).second) {
          view.complain(*view.optional("id"), "repeated-id",
                        fmt::format("is \"{}\"", known[*which]), "an id that stands here once");
        }
        Rule& rule = rules[*which];
        rule.*levels = levels_of(view, values, rule.finding);
        rule.file = about.file;
        rule.line = about.line;
        rule.reason = about.reason;
        rule.source = about.source;
        ++k_.overlay->rules;
      }
      view.done();
    }
  }

  Knowledge k_;
  const std::string& file_;
  std::vector<Diagnostic> out_;
};

}  // namespace

Result<Knowledge> with_overlay(const Knowledge& base, const NamedText& overlay) {
  return OverlayReader(base, overlay).read(overlay.text);
}

}  // namespace dryshaft

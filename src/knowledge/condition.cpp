#include "knowledge/condition.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace dryshaft {
namespace {

using located::Kind;
using located::Node;

constexpr std::string_view kNotObserved = "not-observed";

std::uint8_t finding_levels(ObjectView& view, Finding finding, const Node& node) {
  Words words = ids_of(spec(finding).levels);
  if (node.kind == Kind::object) {
    ObjectView range(view.document(), node, view.complaints());
    const auto from = range.word("at_least", words);
    range.done();
    if (!from) {
      return 0;
    }
    const unsigned all = (1U << words.size()) - 1U;
    return static_cast<std::uint8_t>((all & ~((1U << *from) - 1U)) << 1U);
  }
  words.insert(words.begin(), kNotObserved);
  return words_mask(view, node, words);
}

}  // namespace

bool always_holds(const Condition& c) {
  return c.findings.empty() && c.situations.empty() && c.causes.empty() && c.any.empty() &&
         c.none.empty() && c.grades == Condition{}.grades;
}

Words grade_names() {
  Words words;
  for (std::size_t i = 0; i < kGradeCount; ++i) {
    words.push_back(name(static_cast<Grade>(i)));
  }
  return words;
}

std::uint8_t words_mask(ObjectView& view, const Node& node, const Words& words) {
  if (node.kind != Kind::array || node.children == 0) {
    view.complain(node, "wrong-type", fmt::format("is {}", located::shown(view.document(), node)),
                  "an array of: " + joined(words));
    return 0;
  }
  unsigned bits = 0;
  for (const Node* n = view.document().first(node); n != nullptr; n = view.document().next(*n)) {
    if (const auto word = view.word_at(*n, words)) {
      bits |= 1U << *word;
    }
  }
  return static_cast<std::uint8_t>(bits);
}

Condition read_condition(ObjectView& parent, const Node& node) {
  Condition c;
  const located::Document& doc = parent.document();
  std::vector<Diagnostic>& out = parent.complaints();
  ObjectView view(doc, node, out);
  if (!view.is_object()) {
    return c;
  }
  const auto members_of = [&](std::string_view key, auto each) {
    if (const Node* group = view.optional(key)) {
      ObjectView inside(doc, *group, out);
      for (const Node* n = inside.is_object() ? doc.first(*group) : nullptr; n != nullptr;
           n = doc.next(*n)) {
        each(*n);
      }
    }
  };
  const auto no_such = [&](const Node& n, std::string_view what, const Words& words) {
    Diagnostic d = doc.at_key(n, "no-such-name", fmt::format("names no {}", what));
    d.allowed = joined(words);
    d.hint = did_you_mean(n.key, words);
    out.push_back(std::move(d));
  };
  members_of("finding", [&](const Node& n) {
    if (const auto finding = finding_named(n.key)) {
      c.findings.push_back({*finding, finding_levels(view, *finding, n)});
    } else {
      no_such(n, "finding", names_of(dryshaft::findings()));
    }
  });
  members_of("situation", [&](const Node& n) {
    const auto row = std::ranges::find(situations(), n.key, &SituationSpec::name);
    if (row != situations().end()) {
      c.situations.push_back({row->id, words_mask(view, n, ids_of(row->values))});
    } else {
      no_such(n, "situation", names_of(situations()));
    }
  });
  members_of("cause", [&](const Node& n) {
    if (const auto cause = cause_named(n.key)) {
      ObjectView range(doc, n, out);
      Condition::CauseIs is{.cause = *cause};
      is.at_least = range.optional_number("at_least", 0, 1).value_or(0);
      is.below = range.optional_number("below", 0, 1).value_or(2);
      range.done();
      c.causes.push_back(is);
    } else {
      no_such(n, "cause", names_of(dryshaft::causes()));
    }
  });
  if (const Node* grade = view.optional("grade")) {
    c.grades = words_mask(view, *grade, grade_names());
  }
  const auto list_of = [&](std::string_view key) {
    std::vector<Condition> list;
    if (const Node* group = view.optional(key)) {
      if (group->kind != Kind::array || group->children == 0) {
        view.complain(*group, "wrong-type", fmt::format("is {}", located::shown(doc, *group)),
                      "an array of conditions");
      }
      for (const Node* n = group->kind == Kind::array ? doc.first(*group) : nullptr; n != nullptr;
           n = doc.next(*n)) {
        list.push_back(read_condition(view, *n));
      }
    }
    return list;
  };
  if (std::vector<Condition> any = list_of("any"); !any.empty()) {
    c.any.push_back(std::move(any));
  }
  for (Condition& part : list_of("all")) {
    c.any.push_back({std::move(part)});
  }
  c.none = list_of("none");
  view.done();
  return c;
}

}  // namespace dryshaft

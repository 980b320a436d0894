#include "knowledge/object_view.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/complaints.hpp"
#include "base/sentence.hpp"
#include "base/utf8.hpp"
#include "vocabulary/formats.hpp"

namespace dryshaft {

using located::Kind;
using located::Node;

std::string joined(const std::vector<std::string_view>& words) {
  return fmt::format("{}", fmt::join(words, ", "));
}

Diagnostic about_item(const Item& item, std::string message) {
  Diagnostic d;
  d.code = "no-such-name";
  d.source = item.file;
  d.line = item.line;
  d.column = 1;
  d.pointer = item.id;
  d.message = std::move(message);
  return d;
}

Diagnostic no_such_name(const Item& item, std::string_view what, std::string_view name,
                        const Words& known) {
  Diagnostic d =
      about_item(item, fmt::format("names the {} \"{}\", which does not exist", what, name));
  d.hint = did_you_mean(name, known);
  return d;
}

namespace {

// The limit is met by what is a rounding away from it: a double next to 1 has no more digits.
constexpr double kLeast = kLeastProbability * (1 - 1e-6);

}  // namespace

ObjectView::ObjectView(const located::Document& document, const Node& node,
                       std::vector<Diagnostic>& out)
    : document_(document), node_(node), out_(out) {
  if (node.kind != Kind::object) {
    is_object_ = false;
    complain(node, "wrong-type", fmt::format("is {}", located::shown(document, node)), "an object");
  }
}

void ObjectView::complain(const Node& node, std::string_view code, std::string message,
                          std::string allowed, std::string hint) {
  Diagnostic d = document_.at(node, code, std::move(message));
  d.allowed = std::move(allowed);
  d.hint = std::move(hint);
  add_complaint(out_, std::move(d));
}

const Node* ObjectView::optional(std::string_view key) {
  known_.push_back(key);
  return is_object_ ? document_.find(node_, key) : nullptr;
}

const Node* ObjectView::required(std::string_view key) {
  const Node* member = optional(key);
  if (member == nullptr && is_object_) {
    complain(node_, "missing", fmt::format("has no \"{}\"", key));
  }
  return member;
}

std::string ObjectView::text_at(const Node& node, std::size_t longest) {
  if (node.kind != Kind::text || node.text.empty()) {
    complain(node, "wrong-type", fmt::format("is {}", located::shown(document_, node)),
             "a text that is not empty");
    return {};
  }
  if (const std::size_t length = utf8::length(node.text); length > longest) {
    complain(node, "too-long", fmt::format("is {} characters long", length),
             fmt::format("at most {} characters", longest));
  }
  return std::string(node.text);
}

std::string ObjectView::name(std::string_view key) {
  const Node* member = required(key);
  return member == nullptr ? std::string() : text_at(*member, kLongestName);
}

std::string ObjectView::optional_name(std::string_view key) {
  const Node* member = optional(key);
  return member == nullptr ? std::string() : text_at(*member, kLongestName);
}

std::string ObjectView::text(std::string_view key) {
  const Node* member = required(key);
  return member == nullptr ? std::string() : text_at(*member);
}

std::string ObjectView::optional_text(std::string_view key) {
  const Node* member = optional(key);
  return member == nullptr ? std::string() : text_at(*member);
}

std::string ObjectView::sentence(std::string_view key) { return closed(text(key)); }

std::vector<std::string> ObjectView::optional_texts(std::string_view key) {
  std::vector<std::string> texts;
  const Node* member = optional(key);
  if (member == nullptr) {
    return texts;
  }
  if (member->kind != Kind::array) {
    complain(*member, "wrong-type", fmt::format("is {}", located::shown(document_, *member)),
             "an array of texts");
    return texts;
  }
  for (const Node* n = document_.first(*member); n != nullptr; n = document_.next(*n)) {
    texts.push_back(text_at(*n));
  }
  return texts;
}

bool ObjectView::optional_flag(std::string_view key) {
  const Node* member = optional(key);
  if (member == nullptr) {
    return false;
  }
  if (member->kind != Kind::boolean) {
    complain(*member, "wrong-type", fmt::format("is {}", located::shown(document_, *member)),
             "true, false");
    return false;
  }
  return member->boolean;
}

double ObjectView::number_at(const Node& node, double at_least, double at_most) {
  if (node.kind != Kind::number || node.number < at_least || node.number > at_most) {
    located::take_back_number_range(document_, node, out_);
    complain(node, node.kind == Kind::number ? "out-of-range" : "wrong-type",
             fmt::format("is {}", located::shown(document_, node)),
             fmt::format("a number from {} to {}", at_least, at_most));
    return at_least;
  }
  return node.number;
}

double ObjectView::number(std::string_view key, double at_least, double at_most) {
  const Node* member = required(key);
  return member == nullptr ? at_least : number_at(*member, at_least, at_most);
}

int ObjectView::whole(std::string_view key, double at_most) {
  const Node* member = required(key);
  if (member == nullptr) {
    return 1;
  }
  const double value = number_at(*member, 1, at_most);
  if (value != std::floor(value)) {
    complain(*member, "bad-value", fmt::format("is {}", value), "a whole number");
    return 1;
  }
  return static_cast<int>(value);
}

std::optional<double> ObjectView::optional_number(std::string_view key, double at_least,
                                                  double at_most) {
  const Node* member = optional(key);
  if (member == nullptr || member->kind == Kind::null) {
    return std::nullopt;
  }
  return number_at(*member, at_least, at_most);
}

double ObjectView::probability_at(const Node& node) {
  if (node.kind != Kind::number || node.number < kLeast || 1 - node.number < kLeast) {
    complain(node, node.kind == Kind::number ? "out-of-range" : "wrong-type",
             fmt::format("is {}", located::shown(document_, node)),
             fmt::format("a probability from {0} to 1 less {0}", kLeastProbability),
             "nothing is certain: a 0 or 1, or a number next to them, could never be outweighed by "
             "evidence");
    return 0.5;
  }
  return node.number;
}

std::optional<std::size_t> ObjectView::word_at(const Node& node,
                                               const std::vector<std::string_view>& allowed) {
  const auto found =
      node.kind == Kind::text ? std::ranges::find(allowed, node.text) : allowed.end();
  if (found != allowed.end()) {
    return static_cast<std::size_t>(found - allowed.begin());
  }
  const bool text = node.kind == Kind::text;
  std::string hint =
      text && node.key == "format" ? format_hint(node.text, allowed.front()) : std::string();
  if (text && hint.empty()) {
    hint = did_you_mean(node.text, allowed);
  }
  complain(node, text ? "bad-value" : "wrong-type",
           fmt::format("is {}", located::shown(document_, node)), joined(allowed), std::move(hint));
  return std::nullopt;
}

std::optional<std::size_t> ObjectView::word(std::string_view key,
                                            const std::vector<std::string_view>& allowed) {
  const Node* member = required(key);
  return member == nullptr ? std::nullopt : word_at(*member, allowed);
}

std::string_view ObjectView::id() const {
  const Node* id = is_object_ ? document_.find(node_, "id") : nullptr;
  return id != nullptr && id->kind == Kind::text ? std::string_view(id->text) : std::string_view();
}

ObjectView& ObjectView::layer_with(std::string_view key) {
  if (below_ == nullptr) {
    return *this;
  }
  ObjectView& other = below_->layer_with(key);
  const bool here = optional(key) != nullptr;
  other.known_.push_back(key);
  return here || other.document_.find(other.node_, key) == nullptr ? *this : other;
}

std::vector<ObjectView> ObjectView::objects(std::string_view key) {
  std::vector<ObjectView> views;
  if (below_ != nullptr) {
    if (optional(key) == nullptr) {
      return below_->objects(key);
    }
    std::vector<ObjectView> own = ObjectView(document_, node_, out_).objects(key);
    std::vector<bool> placed(own.size());
    for (const ObjectView& below : below_->objects(key)) {
      const ObjectView* here = &below;
      for (std::size_t i = 0; i < own.size() && here == &below; ++i) {
        if (!placed[i] && !own[i].id().empty() && own[i].id() == below.id()) {
          placed[i] = true;
          here = &own[i];
        }
      }
      views.push_back(*here);
    }
    for (std::size_t i = 0; i < own.size(); ++i) {
      if (!placed[i]) {
        views.push_back(own[i]);
      }
    }
    return views;
  }
  const Node* member = required(key);
  if (member == nullptr) {
    return views;
  }
  if (member->kind != Kind::array) {
    complain(*member, "wrong-type", fmt::format("is {}", located::shown(document_, *member)),
             "an array of objects");
    return views;
  }
  for (const Node* n = document_.first(*member); n != nullptr; n = document_.next(*n)) {
    views.emplace_back(document_, *n, out_);
  }
  return views;
}

void ObjectView::done() {
  if (!is_object_) {
    return;
  }
  for (const Node* n = document_.first(node_); n != nullptr; n = document_.next(*n)) {
    if (std::ranges::find(known_, n->key) != known_.end()) {
      continue;
    }
    Diagnostic d = document_.at_key(*n, "unknown-member", "is not a member that is known here");
    d.allowed = joined(known_);
    d.hint = did_you_mean(n->key, known_);
    add_complaint(out_, std::move(d));
  }
}

std::array<double, kMaxLevels> levels_of(ObjectView& view, std::string_view key, Finding finding) {
  std::array<double, kMaxLevels> values{};
  values[0] = 1;
  const Node* node = view.required(key);
  if (node == nullptr) {
    return values;
  }
  ObjectView inside(view.document(), *node, view.complaints());
  const std::span<const Choice> words = spec(finding).levels;
  for (std::size_t l = 1; l < words.size() && inside.is_object(); ++l) {
    const Node* value = inside.required(words[l].id);
    if (value == nullptr) {
      continue;
    }
    values[l] = inside.probability_at(*value);
    if (const double falls = values[l - 1] - values[l]; falls < kLeast) {
      const std::string near =
          falls > 0 ? fmt::format(", by {} or more", kLeastProbability) : std::string();
      inside.complain(*value, "not-falling",
                      fmt::format("is {}", located::shown(view.document(), *value)),
                      fmt::format("a value below that of \"{}\"{}", words[l - 1].id, near),
                      "each value says how often the finding is this bad or worse");
    }
  }
  inside.done();
  return values;
}

std::optional<std::size_t> RoleReader::read(ObjectView& view, const Item& item) {
  const Node* node = view.optional("role");
  const auto role = node != nullptr ? view.word_at(*node, roles_) : std::nullopt;
  if (!role) {
    return std::nullopt;
  }
  std::string& other = played_by_[*role];
  if (!other.empty()) {
    view.complain(*node, "repeated", fmt::format("is \"{}\"", roles_[*role]),
                  fmt::format("a role that no other {} has", kind_),
                  fmt::format("{} has it", other));
    return std::nullopt;
  }
  other = fmt::format("\"{}\" ({}:{})", item.id, item.file, item.line);
  return role;
}

std::vector<std::string> RoleReader::missing() const {
  std::vector<std::string> complaints;
  for (std::size_t i = 0; i < roles_.size(); ++i) {
    if (played_by_[i].empty()) {
      complaints.push_back(fmt::format("has no {} with the role \"{}\"", kind_, roles_[i]));
    }
  }
  return complaints;
}

void ItemReader::read_grounds(ObjectView& view, Item& item) {
  item.file = view.document().origin().source;
  item.line = view.document().at(view.node(), "", "").line;
  item.reason = view.sentence("reason");
  const std::string source = view.text("source");
  constexpr std::string_view kPublished = "published: ";
  if (source.starts_with(kPublished) && source.size() > kPublished.size()) {
    item.source = {SourceMark::published, source.substr(kPublished.size())};
  } else if (source == "common practice") {
    item.source.mark = SourceMark::common_practice;
  } else if (source == "own shop") {
    item.source.mark = SourceMark::own_shop;
  } else if (source != "from memory" && !source.empty()) {
    view.complain(*view.optional("source"), "bad-value", fmt::format("is \"{}\"", source),
                  "from memory, common practice, own shop, published: SOURCE",
                  "state honestly where the value comes from");
  }
}

void ItemReader::read(ObjectView& view, Item& item) {
  item.id = view.name("id");
  read_grounds(view, item);
  if (item.id.empty()) {
    return;
  }
  const auto [other, is_new] = ids_.emplace(item.id, fmt::format("{}:{}", item.file, item.line));
  if (!is_new) {
    view.complain(*view.optional("id"), "repeated-id", fmt::format("is \"{}\"", item.id),
                  "an id that nothing else has",
                  fmt::format("it was first used at {}", other->second));
  }
}

}  // namespace dryshaft

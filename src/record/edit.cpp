#include "record/edit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <vector>

#include "base/json_out.hpp"
#include "base/located_json.hpp"
#include "dryshaft/record.hpp"

namespace dryshaft {
namespace {

using located::Document;
using located::Kind;
using located::Node;

class Rewriter {
 public:
  Rewriter(std::string_view text, const Editor& editor)
      : d_(text, {"", 1, 1}, {kMaxDepth, kMaxRecordBytes}, none_), editor_(editor) {}

  std::string text() { return d_.usable() ? value(d_.root(), "") : std::string(d_.text()); }

 private:
  [[nodiscard]] std::string_view between(std::size_t begin, std::size_t end) const {
    return d_.text().substr(begin, end - begin);
  }

  std::string value(const Node& node, const std::string& pointer) {
    if ((node.kind != Kind::object && node.kind != Kind::array) || node.children == 0) {
      return std::string(d_.raw(node));
    }
    const Node* n = d_.first(node);
    std::string out(between(node.begin, n->key_begin));
    std::size_t before = 0;  // the end of the sibling before, kept or not
    bool is_first = true;
    for (; n != nullptr; n = d_.next(*n)) {
      const std::string at = fmt::format("{}/{}", pointer, part_of(*n, node.kind == Kind::array));
      const Edit edit = editor_(at, d_.raw(*n));
      if (edit.to != Edit::To::drop || node.kind == Kind::array) {
        out += is_first ? "" : between(before, n->key_begin);
        out += between(n->key_begin, n->begin);
        out += edit.to == Edit::To::replace ? edit.json : value(*n, at);
        is_first = false;
      }
      before = n->end;
    }
    return out + std::string(between(before, node.end));
  }

  static std::string part_of(const Node& node, bool element) {
    if (element) {
      return fmt::format("{}", node.index);
    }
    std::string part;
    for (const char c : node.key) {
      part += c == '~' ? "~0" : c == '/' ? "~1" : std::string(1, c);
    }
    return part;
  }

  std::vector<Diagnostic> none_;
  Document d_;
  const Editor& editor_;
};

// `{"port": {"fluid": "film"}}` for "/port/fluid", as the record writes its members.
std::string wrapped(std::string_view pointer, const std::string& json, std::string_view colon) {
  const std::size_t slash = pointer.find('/', 1);
  const std::string key =
      fmt::format("\"{}\"{}", json_out::inside_string(pointer.substr(1, slash - 1)), colon);
  return slash == std::string_view::npos
             ? key + json
             : fmt::format("{}{{{}}}", key, wrapped(pointer.substr(slash), json, colon));
}

}  // namespace

std::string edited(std::string_view text, const Editor& editor) {
  return Rewriter(text, editor).text();
}

std::string with_member(std::string_view text, std::string_view pointer,
                        const std::optional<std::string>& json) {
  std::vector<Diagnostic> none;
  const Document d(text, {"", 1, 1}, {kMaxDepth, kMaxRecordBytes}, none);
  const Node* at = &d.root();
  std::size_t done = 0;  // of the pointer
  while (done < pointer.size()) {
    const std::size_t slash = std::min(pointer.find('/', done + 1), pointer.size());
    const Node* next = at->kind == Kind::object
                           ? d.find(*at, pointer.substr(done + 1, slash - done - 1))
                           : nullptr;
    if (next == nullptr) {
      break;
    }
    at = next;
    done = slash;
  }
  const bool is_there = done == pointer.size();
  if (!json) {
    return edited(text, [&](std::string_view p, std::string_view) {
      return Edit{.to = p == pointer ? Edit::To::drop : Edit::To::keep};
    });
  }
  std::string out(text);
  if (is_there) {
    return out.replace(at->begin, at->end - at->begin, *json);
  }
  const std::size_t first_colon = text.find(':', text.find('"', text.find('"') + 1));
  const bool spaced = first_colon != std::string_view::npos && first_colon + 1 < text.size() &&
                      (text[first_colon + 1] == ' ' || text[first_colon + 1] == '\n');
  const std::string added = wrapped(pointer.substr(done), *json, spaced ? ": " : ":");
  if (at->kind != Kind::object) {  // `null` in the place of an object
    return out.replace(at->begin, at->end - at->begin, "{" + added + "}");
  }
  const Node* last = d.first(*at);
  if (last == nullptr) {
    return out.insert(at->begin + 1, added);
  }
  while (const Node* next = d.next(*last)) {
    last = next;
  }
  return out.insert(last->end, (spaced ? ", " : ",") + added);
}

std::string on_one_line(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  std::ranges::copy_if(text, std::back_inserter(out),
                       [](char c) { return c != '\n' && c != '\r'; });
  return out;
}

}  // namespace dryshaft

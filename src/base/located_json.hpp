// JSON text with places: every value and key knows where it stands.
//
// The parsing is nlohmann_json's (its SAX interface); this adds places,
// pointers and the limits at the door: duplicate keys, depth, size, invalid
// UTF-8, and integers that a double cannot hold.
#ifndef DRYSHAFT_BASE_LOCATED_JSON_HPP
#define DRYSHAFT_BASE_LOCATED_JSON_HPP

#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <vector>

#include "base/places.hpp"
#include "dryshaft/diagnostic.hpp"

namespace dryshaft::located {

enum class Kind : std::uint8_t { null, boolean, number, text, array, object };

inline constexpr std::uint32_t kNone = 0xFFFFFFFFU;

struct Node {
  Kind kind = Kind::null;
  bool boolean = false;
  double number = 0;
  std::string_view text;    // decoded; only for Kind::text
  std::string_view key;     // decoded; only for members of an object
  std::uint32_t begin = 0;  // bytes into the text; a container from bracket to bracket
  std::uint32_t end = 0;
  std::uint32_t key_begin = 0;  // the key's opening quote; `begin` where there is no key
  std::uint32_t parent = kNone;
  std::uint32_t first_child = kNone;
  std::uint32_t next = kNone;  // the next sibling
  std::uint32_t children = 0;
  std::uint32_t index = 0;  // among the elements of an array
};

using dryshaft::Origin;

struct Limits {
  int depth = 32;
  std::size_t bytes = std::size_t{1} << 20U;
};

class Document {
 public:
  // Parses one JSON value that fills `text` (white space around it allowed).
  // Complaints go to `out`. `usable()` is false after a syntax error; other
  // complaints (a duplicate key, a number too large) leave a usable tree, where
  // the first of duplicate keys counts, and a number beyond every double is infinite.
  // `text` and `origin.source` must outlive the document.
  Document(std::string_view text, const Origin& origin, const Limits& limits,
           std::vector<Diagnostic>& out);

  [[nodiscard]] bool usable() const { return usable_; }
  [[nodiscard]] const Node& root() const { return nodes_.front(); }
  [[nodiscard]] const Node* find(const Node& object, std::string_view key) const;
  // `for (const Node* n = first(x); n != nullptr; n = next(*n))`
  [[nodiscard]] const Node* first(const Node& container) const;
  [[nodiscard]] const Node* next(const Node& node) const;
  [[nodiscard]] std::string pointer(const Node& node) const;  // RFC 6901
  [[nodiscard]] std::string_view raw(const Node& node) const;
  [[nodiscard]] std::string_view text() const { return text_; }
  [[nodiscard]] const Origin& origin() const { return places_.origin(); }

  // A complaint at a value, with its excerpt and caret made from the text.
  [[nodiscard]] Diagnostic at(const Node& node, std::string_view code, std::string message) const;
  // The same at a member's key.
  [[nodiscard]] Diagnostic at_key(const Node& node, std::string_view code,
                                  std::string message) const;

  // A value's place.
  [[nodiscard]] Place place(const Node& node) const { return places_.place(node.begin); }

 private:
  friend class TreeBuilder;

  std::string_view text_;
  mutable Places places_;
  std::vector<Node> nodes_;
  std::deque<std::string> strings_;  // a deque: its strings never move
  bool usable_ = false;
};

// How a value is shown in a message: strings in quotes and cut when long,
// numbers and literals as written, `an object`, `an array`.
std::string shown(const Document& document, const Node& node);

// The complaint about a text of more than `limit` bytes, at byte 0 of `text`.
Diagnostic too_large(std::string_view text, const Origin& origin, std::size_t limit);
// What it says of the text's size.
std::string size_held(std::size_t bytes);
// Takes back the complaint that no double holds a number, for one that says what it may be.
void take_back_number_range(const Document& document, const Node& node,
                            std::vector<Diagnostic>& complaints);

// "a string", "a number", ...
std::string_view kind_name(Kind kind);

}  // namespace dryshaft::located

#endif

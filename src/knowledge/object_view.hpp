// A JSON object of the rule data, read member by member: what is missing, of
// the wrong type or not asked for becomes a located complaint.
#ifndef DRYSHAFT_KNOWLEDGE_OBJECT_VIEW_HPP
#define DRYSHAFT_KNOWLEDGE_OBJECT_VIEW_HPP

#include <array>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/located_json.hpp"
#include "dryshaft/diagnostic.hpp"
#include "dryshaft/knowledge.hpp"

namespace dryshaft {

// What a file of data may be at most.
inline constexpr located::Limits kDataLimits{.depth = 32, .bytes = std::size_t{16} << 20U};

using Words = std::vector<std::string_view>;

// What a list of things is told apart by, in its order.
template <typename Items>
Words ids_of(const Items& items) {
  Words words;
  words.reserve(items.size());
  for (const auto& item : items) {
    words.push_back(item.id);
  }
  return words;
}

template <typename Table>
Words names_of(const Table& table) {
  Words words;
  for (const auto& row : table) {
    words.push_back(row.name);
  }
  return words;
}

// A complaint about an item and others that it names, placed at the item.
Diagnostic about_item(const Item& item, std::string message);
Diagnostic no_such_name(const Item& item, std::string_view what, std::string_view name,
                        const Words& known);

inline constexpr std::size_t kLongestText = 2000;
inline constexpr std::size_t kLongestName = 100;

class ObjectView {
 public:
  ObjectView(const located::Document& document, const located::Node& node,
             std::vector<Diagnostic>& out);

  [[nodiscard]] bool is_object() const { return is_object_; }
  [[nodiscard]] const located::Document& document() const { return document_; }
  [[nodiscard]] const located::Node& node() const { return node_; }
  [[nodiscard]] std::vector<Diagnostic>& complaints() { return out_; }

  // The member, or nullptr; says that the key is known.
  const located::Node* optional(std::string_view key);
  // The member; its absence is an error.
  const located::Node* required(std::string_view key);

  // Texts hold `kLongestText` characters at most, names `kLongestName`.
  std::string text(std::string_view key);
  std::string name(std::string_view key);
  std::string optional_name(std::string_view key);
  std::string optional_text(std::string_view key);
  // A text that people read as a sentence: a full stop that it lacks is put in.
  std::string sentence(std::string_view key);
  std::vector<std::string> optional_texts(std::string_view key);
  bool optional_flag(std::string_view key);
  double number(std::string_view key, double at_least, double at_most);
  // A whole number from 1; 1 where it is in error.
  int whole(std::string_view key, double at_most);
  std::optional<double> optional_number(std::string_view key, double at_least, double at_most);
  // A text that must be one of `allowed`: its place in the list.
  std::optional<std::size_t> word(std::string_view key,
                                  const std::vector<std::string_view>& allowed);
  std::optional<std::size_t> word_at(const located::Node& node,
                                     const std::vector<std::string_view>& allowed);
  // The elements of an array of objects; with a layer below, those of both: an element with the
  // id of one below takes its place, and others follow.
  std::vector<ObjectView> objects(std::string_view key);
  // Empty where it has none; makes no complaint.
  [[nodiscard]] std::string_view id() const;
  // What this one does not have is taken from `below`, which must outlive it.
  void lay_over(ObjectView& below) { below_ = &below; }
  [[nodiscard]] ObjectView* below() const { return below_; }
  // The layer that has the member: this one, where none has.
  ObjectView& layer_with(std::string_view key);

  void complain(const located::Node& node, std::string_view code, std::string message,
                std::string allowed = {}, std::string hint = {});
  // Complains about each member that nobody asked for. Call it last.
  void done();

  // A probability no nearer to 0 or 1 than `kLeastProbability`, or an error.
  double probability_at(const located::Node& node);
  double number_at(const located::Node& node, double at_least, double at_most);
  std::string text_at(const located::Node& node, std::size_t longest = kLongestText);

 private:
  const located::Document& document_;
  const located::Node& node_;
  std::vector<Diagnostic>& out_;
  std::vector<std::string_view> known_;
  ObjectView* below_ = nullptr;
  bool is_object_ = true;
};

// Reads what every item has, and remembers ids: none may stand twice.
class ItemReader {
 public:
  void read(ObjectView& view, Item& item);
  [[nodiscard]] bool has(std::string_view id) const { return ids_.contains(id); }
  // `reason`, `source` and the place of an item that needs no id.
  static void read_grounds(ObjectView& view, Item& item);

 private:
  std::map<std::string, std::string, std::less<>> ids_;  // id -> where it was first used
};

// The member `role` of the items of one kind, by which code knows them: each role is one item's.
class RoleReader {
 public:
  RoleReader(std::string_view kind, Words roles)
      : kind_(kind), roles_(std::move(roles)), played_by_(roles_.size()) {}
  // Its place in the list of roles; nothing where the item has none.
  std::optional<std::size_t> read(ObjectView& view, const Item& item);
  // A complaint for each role that no item has.
  [[nodiscard]] std::vector<std::string> missing() const;

 private:
  std::string_view kind_;
  Words roles_;
  std::vector<std::string> played_by_;  // id and place of the item; empty: by none
};

// A probability for each level of a finding but the harmless one, of which the first is 1: each
// says how often the finding is that bad or worse, so each is below the one before, by
// `kLeastProbability` or more.
std::array<double, kMaxLevels> levels_of(ObjectView& view, std::string_view key, Finding finding);

// A list as error messages show it: `a, b, c`.
std::string joined(const std::vector<std::string_view>& words);

}  // namespace dryshaft

#endif

// Changes to a record's text, by splicing: no byte of anything else moves.
#ifndef DRYSHAFT_RECORD_EDIT_HPP
#define DRYSHAFT_RECORD_EDIT_HPP

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

namespace dryshaft {

// What becomes of a value: it stays, or goes with its key, or has another JSON text.
struct Edit {
  enum class To : std::uint8_t { keep, drop, replace };
  To to = To::keep;
  std::string json = {};
};

// Asked of each member and element by its JSON pointer (RFC 6901) and its JSON text; of what is in
// an object or array only where that stays. Elements of arrays are not dropped.
using Editor = std::function<Edit(std::string_view pointer, std::string_view json)>;

// `text` is a record that `read_record` takes.
std::string edited(std::string_view text, const Editor& editor);

// The value at a pointer through objects, replaced, or put last into its object; objects on the way
// that are missing are made. No value: taken out, if it is there.
std::string with_member(std::string_view text, std::string_view pointer,
                        const std::optional<std::string>& json);

// On one line: without the line breaks between its tokens.
std::string on_one_line(std::string_view text);

}  // namespace dryshaft

#endif

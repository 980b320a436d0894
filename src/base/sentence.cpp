#include "base/sentence.hpp"

namespace dryshaft {

std::string closed(std::string_view text) {
  const bool ended = text.empty() || text.ends_with('.') || text.ends_with('!') ||
                     text.ends_with('?') || text.ends_with(':');
  return std::string(text) + (ended ? "" : ".");
}

std::string_view without_full_stop(std::string_view text) {
  return text.substr(0, text.find_last_not_of('.') + 1);
}

}  // namespace dryshaft

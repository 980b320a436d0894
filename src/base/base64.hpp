// Base64 (RFC 4648, section 4): with padding, and without line ends.
#ifndef DRYSHAFT_BASE_BASE64_HPP
#define DRYSHAFT_BASE_BASE64_HPP

#include <optional>
#include <string>
#include <string_view>

namespace dryshaft {

std::string to_base64(std::string_view bytes);
// Nothing where `text` is not what `to_base64` writes for some bytes.
std::optional<std::string> from_base64(std::string_view text);

}  // namespace dryshaft

#endif

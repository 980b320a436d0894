// SHA-256 (FIPS 180-4) of a text: in lower-case hex, and in base64 (RFC 4648).
#ifndef DRYSHAFT_BASE_SHA256_HPP
#define DRYSHAFT_BASE_SHA256_HPP

#include <string>
#include <string_view>

namespace dryshaft {

std::string sha256_hex(std::string_view text);
// Whether a text is what `sha256_hex` gives.
bool is_sha256_hex(std::string_view text);
inline constexpr std::string_view kSha256Allowed = "64 digits, 0-9 and a-f";
std::string sha256_base64(std::string_view text);
// Keyed: HMAC (RFC 2104) with SHA-256, in lower-case hex.
std::string hmac_sha256_hex(std::string_view key, std::string_view text);

}  // namespace dryshaft

#endif

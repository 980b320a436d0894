#include "base/base64.hpp"

#include <array>
#include <cstddef>
#include <cstdint>

namespace dryshaft {
namespace {

constexpr std::string_view kBase64Digits =
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
constexpr char kPadding = '=';
constexpr std::uint8_t kNoDigit = 64;

constexpr std::array<std::uint8_t, 256> digit_values() {
  std::array<std::uint8_t, 256> values{};
  values.fill(kNoDigit);
  for (std::size_t i = 0; i < kBase64Digits.size(); ++i) {
    values[static_cast<unsigned char>(kBase64Digits[i])] = static_cast<std::uint8_t>(i);
  }
  return values;
}
constexpr std::array<std::uint8_t, 256> kDigitValues = digit_values();

}  // namespace

std::string to_base64(std::string_view bytes) {
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  std::uint32_t bits = 0;
  unsigned held = 0;
  for (const char c : bytes) {
    bits = (bits << 8U) | static_cast<unsigned char>(c);
    for (held += 8; held >= 6; held -= 6) {
      out += kBase64Digits[(bits >> (held - 6)) & 0x3FU];
    }
  }
  if (held > 0) {
    out += kBase64Digits[(bits << (6 - held)) & 0x3FU];
  }
  out.append((4 - out.size() % 4) % 4, kPadding);
  return out;
}

std::optional<std::string> from_base64(std::string_view text) {
  if (text.size() % 4 != 0) {
    return std::nullopt;
  }
  for (int padding = 0; padding < 2 && text.ends_with(kPadding); ++padding) {
    text.remove_suffix(1);
  }
  std::string out;
  out.reserve(text.size() / 4 * 3 + 2);
  std::uint32_t bits = 0;
  unsigned held = 0;
  for (const char c : text) {
    const std::uint8_t digit = kDigitValues[static_cast<unsigned char>(c)];
    if (digit == kNoDigit) {
      return std::nullopt;
    }
    bits = (bits << 6U) | digit;
    held += 6;
    if (held >= 8) {
      held -= 8;
      out += static_cast<char>((bits >> held) & 0xFFU);
    }
  }
  // What is left over is nothing, or the noughts that fill the last digit.
  if (held >= 6 || (bits & ((1U << held) - 1U)) != 0) {
    return std::nullopt;
  }
  return out;
}

}  // namespace dryshaft

#include "base/sha256.hpp"

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>

#include "base/base64.hpp"

namespace dryshaft {
namespace {

// FIPS 180-4, section 4.2.2: the first 32 bits of the fractional parts of the
// cube roots of the first 64 primes.
constexpr std::array<std::uint32_t, 64> kConstants = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

constexpr std::size_t kBlock = 64;

using State = std::array<std::uint32_t, 8>;

// Section 6.2.2: one block.
void take_block(State& state, const char* block) {
  std::array<std::uint32_t, 64> w{};
  for (std::size_t t = 0; t < 16; ++t) {
    for (std::size_t i = 0; i < 4; ++i) {
      w[t] = (w[t] << 8U) | static_cast<std::uint8_t>(block[4 * t + i]);
    }
  }
  for (std::size_t t = 16; t < 64; ++t) {
    const std::uint32_t s0 = std::rotr(w[t - 15], 7) ^ std::rotr(w[t - 15], 18) ^ (w[t - 15] >> 3U);
    const std::uint32_t s1 = std::rotr(w[t - 2], 17) ^ std::rotr(w[t - 2], 19) ^ (w[t - 2] >> 10U);
    w[t] = s1 + w[t - 7] + s0 + w[t - 16];
  }
  auto [a, b, c, d, e, f, g, h] = state;
  for (std::size_t t = 0; t < 64; ++t) {
    const std::uint32_t s1 = std::rotr(e, 6) ^ std::rotr(e, 11) ^ std::rotr(e, 25);
    const std::uint32_t t1 = h + s1 + ((e & f) ^ (~e & g)) + kConstants[t] + w[t];
    const std::uint32_t s0 = std::rotr(a, 2) ^ std::rotr(a, 13) ^ std::rotr(a, 22);
    const std::uint32_t t2 = s0 + ((a & b) ^ (a & c) ^ (b & c));
    h = g, g = f, f = e, e = d + t1, d = c, c = b, b = a, a = t1 + t2;
  }
  const State add = {a, b, c, d, e, f, g, h};
  for (std::size_t i = 0; i < state.size(); ++i) {
    state[i] += add[i];
  }
}

State digest(std::string_view text) {
  // Section 5.3.3.
  State state = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
  std::size_t done = 0;
  for (; text.size() - done >= kBlock; done += kBlock) {
    take_block(state, text.data() + done);
  }
  // Section 5.1.1: the rest, one bit, zeros, and the length in bits.
  std::array<char, 2 * kBlock> tail{};
  const std::size_t rest = text.copy(tail.data(), kBlock, done);
  tail[rest] = static_cast<char>(0x80);
  const std::size_t padded = rest + 9 <= kBlock ? kBlock : 2 * kBlock;
  const std::uint64_t bits = std::uint64_t{text.size()} * 8;
  for (std::size_t i = 0; i < 8; ++i) {
    tail[padded - 1 - i] = static_cast<char>((bits >> (8 * i)) & 0xFFU);
  }
  for (std::size_t i = 0; i < padded; i += kBlock) {
    take_block(state, tail.data() + i);
  }
  return state;
}

std::string bytes_of(const State& state) {
  std::string bytes;
  for (const std::uint32_t word : state) {
    for (unsigned shift = 32; shift != 0;) {
      shift -= 8;
      bytes += static_cast<char>((word >> shift) & 0xFFU);
    }
  }
  return bytes;
}

}  // namespace

std::string sha256_hex(std::string_view text) {
  std::string hex;
  hex.reserve(64);
  for (const std::uint32_t word : digest(text)) {
    for (unsigned shift = 32; shift != 0;) {
      shift -= 4;
      hex += "0123456789abcdef"[(word >> shift) & 0xFU];
    }
  }
  return hex;
}

bool is_sha256_hex(std::string_view text) {
  constexpr std::size_t kDigits = 64;
  return text.size() == kDigits &&
         text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

std::string sha256_base64(std::string_view text) { return to_base64(bytes_of(digest(text))); }

std::string hmac_sha256_hex(std::string_view key, std::string_view text) {
  std::string block(key.size() > kBlock ? bytes_of(digest(key)) : std::string(key));
  block.resize(kBlock, '\0');
  const auto with = [&](unsigned pad) {
    std::string out = block;
    for (char& c : out) {
      c = static_cast<char>(static_cast<std::uint8_t>(c) ^ pad);
    }
    return out;
  };
  constexpr unsigned kInner = 0x36;
  constexpr unsigned kOuter = 0x5c;
  return sha256_hex(with(kOuter) + bytes_of(digest(with(kInner) + std::string(text))));
}

}  // namespace dryshaft

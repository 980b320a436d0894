// A text read in one piece, and in several as a file is read.
#ifndef DRYSHAFT_TESTS_PIECES_HPP
#define DRYSHAFT_TESTS_PIECES_HPP

#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <iterator>
#include <memory>
#include <stdexcept>
#include <string>
#include <string_view>

#include "record/pieces.hpp"

namespace dryshaft::test {

inline constexpr std::size_t kNoEnd = std::string_view::npos;

using Make = std::function<std::unique_ptr<PieceReader>()>;

inline std::string all_of(const Records& read) {
  std::string out;
  for (const Record& r : read.records) {
    out += fmt::format("{} {} {}..{} {} {}:{}\n", r.unit_id, r.line, r.begin, r.end, r.sha256,
                       r.odometer_line, r.odometer_column);
  }
  for (const Diagnostic& d : read.diagnostics) {
    out += to_text(d);
  }
  return out + fmt::format("{} rejected\n", read.rejected);
}

inline std::string whole(const Make& make, std::string_view text) {
  Records read;
  make()->read(text, true, kNoEnd, read);
  return all_of(read);
}

struct Pieces {
  std::string read;
  std::size_t calls = 0;
  std::size_t most = 0;  // bytes held at once
  std::size_t most_records = 0;
};

// `chunk` bytes at a time, no more of them than needed to get on.
inline Pieces in_pieces(const Make& make, std::string_view text, std::size_t chunk,
                        std::size_t enough) {
  const std::unique_ptr<PieceReader> reader = make();
  Pieces out;
  Records all;
  std::size_t at = 0;
  std::size_t have = 0;
  while (!reader->done()) {
    while (have - at < reader->look_ahead() && have < text.size()) {
      have = std::min(have + chunk, text.size());
    }
    // A copy of its own, so that nothing outside of it can be looked at unseen.
    const std::string piece(text.substr(at, have - at));
    Records read;
    at += reader->read(piece, have == text.size(), enough, read);
    out.most_records = std::max(out.most_records, read.records.size());
    std::ranges::move(read.records, std::back_inserter(all.records));
    std::ranges::move(read.diagnostics, std::back_inserter(all.diagnostics));
    all.rejected += read.rejected;
    out.most = std::max(out.most, piece.size());
    if (++out.calls > 3 * text.size() + 100) {
      throw std::logic_error("no getting on");
    }
  }
  out.read = all_of(all);
  return out;
}

}  // namespace dryshaft::test

#endif

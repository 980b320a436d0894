// Reading a text in pieces, so that it may be longer than memory.
//
// A reader decides nothing by what stands further ahead than a record may be long, and a little
// more. So a text read in pieces gives what it gives in one piece, complaints and their places too.
#ifndef DRYSHAFT_RECORD_PIECES_HPP
#define DRYSHAFT_RECORD_PIECES_HPP

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string_view>

#include "dryshaft/record.hpp"
#include "dryshaft/table.hpp"

namespace dryshaft {

class PieceReader {
 public:
  PieceReader() = default;
  PieceReader(const PieceReader&) = delete;
  PieceReader& operator=(const PieceReader&) = delete;
  PieceReader(PieceReader&&) = delete;
  PieceReader& operator=(PieceReader&&) = delete;
  virtual ~PieceReader() = default;

  // Reads on, until `text` is used up as far as it can be or `out` holds `enough` records or
  // complaints. Gives how many bytes of `text` are done with: the next call's text begins after
  // them. `last`: nothing follows `text`; else it should hold `look_ahead()` bytes, or there may be
  // no getting on.
  virtual std::size_t read(std::string_view text, bool last, std::size_t enough, Records& out) = 0;
  [[nodiscard]] virtual std::size_t look_ahead() const = 0;
  // Whether all is read, or nothing that follows would change anything.
  [[nodiscard]] virtual bool done() const = 0;
};

// Room for what is shown of a text beyond the record that is complained of.
inline constexpr std::size_t kShownAhead = 1024;

// Both keep references to `map` and `options`. `limit`: bytes of a record, or of a row.
std::unique_ptr<PieceReader> table_reader(std::string_view source, const ColumnMap& map,
                                          const ReadOptions& options,
                                          std::size_t limit = kMaxRecordBytes);
// `line`: that of the text's first byte.
std::unique_ptr<PieceReader> records_reader(std::string_view source, std::uint32_t line,
                                            const ReadOptions& options,
                                            std::size_t limit = kMaxRecordBytes);

}  // namespace dryshaft

#endif

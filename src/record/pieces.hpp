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
  // Whether others may read what follows; see `RecordsReader`.
  [[nodiscard]] virtual bool rests() const { return false; }
};

// Room for what is shown of a text beyond the record that is complained of.
inline constexpr std::size_t kShownAhead = 1024;

// A text of records: values one after another, each an object or an array, on one line or several.
class RecordsReader : public PieceReader {
 public:
  // `rests` where it stands at the start of a line, between two values, if that was asked for;
  // `read` then stops there. Others have read on; the next text begins on `line`, and as such a
  // line does.
  virtual void go_on(std::uint32_t line) = 0;
};

// Whether a line holds records alone, each of them closed on it, so that it can be read by itself.
bool holds_whole_objects(std::string_view line);

// Both keep references to `map` and `options`. `limit`: bytes of a record, or of a row.
std::unique_ptr<PieceReader> table_reader(std::string_view source, const ColumnMap& map,
                                          const ReadOptions& options,
                                          std::size_t limit = kMaxRecordBytes);
// `line`: that of the text's first byte. `in_turns`: it rests between lines.
std::unique_ptr<RecordsReader> records_reader(std::string_view source, std::uint32_t line,
                                              const ReadOptions& options,
                                              std::size_t limit = kMaxRecordBytes,
                                              bool in_turns = false);

}  // namespace dryshaft

#endif

/// Records of a text that comes in pieces, however long it is.
#ifndef DRYSHAFT_STREAM_HPP
#define DRYSHAFT_STREAM_HPP

#include <memory>
#include <string>
#include <string_view>

#include "dryshaft/record.hpp"
#include "dryshaft/table.hpp"

namespace dryshaft {

/// Reads a text as its pieces come, with the records and complaints, places too, that
/// `read_records` or `read_table` finds in all of it. Pieces may end anywhere. It keeps what may
/// belong to a record that is not complete, 2 MiB at most beside the last piece.
///
///     RecordStream stream("intake.jsonl", grader.read_options());
///     while (receive(piece)) use(stream.next(piece));
///     use(stream.finish());
class RecordStream {
 public:
  /// A text of records. `source` stands in complaints and records as its name.
  RecordStream(std::string_view source, ReadOptions options);
  /// A table; `columns` says what its titles mean.
  RecordStream(std::string_view source, ReadOptions options, ColumnMap columns);
  RecordStream(RecordStream&& other) noexcept;
  RecordStream& operator=(RecordStream&& other) noexcept;
  ~RecordStream();

  /// What is certain now: records that the text up to here holds, whatever follows. A record on a
  /// line is certain when its line ends.
  Records next(std::string_view piece);
  /// What is left: nothing follows. After it the stream takes no piece.
  Records finish();

 private:
  struct Parts;
  std::unique_ptr<Parts> parts_;
};

}  // namespace dryshaft

#endif

#include "dryshaft/stream.hpp"

#include <utility>

#include "record/pieces.hpp"

namespace dryshaft {

struct RecordStream::Parts {
  explicit Parts(ReadOptions o, ColumnMap c = {}) : options(std::move(o)), columns(std::move(c)) {}

  Records read(bool last) {
    Records out;
    while (!reader->done()) {
      const std::size_t had = out.records.size() + out.diagnostics.size();
      const std::size_t used = reader->read(text, last, std::string::npos, out);
      text.erase(0, used);
      if (used == 0 && had == out.records.size() + out.diagnostics.size()) {
        break;
      }
    }
    if (reader->done()) {
      text.clear();
    }
    return out;
  }

  ReadOptions options;  // both are referred to by the reader
  ColumnMap columns;
  std::unique_ptr<PieceReader> reader;
  std::string text;  // not read yet
};

RecordStream::RecordStream(std::string_view source, ReadOptions options)
    : parts_(std::make_unique<Parts>(std::move(options))) {
  parts_->reader = records_reader(source, 1, parts_->options);
}

RecordStream::RecordStream(std::string_view source, ReadOptions options, ColumnMap columns)
    : parts_(std::make_unique<Parts>(std::move(options), std::move(columns))) {
  parts_->reader = table_reader(source, parts_->columns, parts_->options);
}

RecordStream::RecordStream(RecordStream&& other) noexcept = default;
RecordStream& RecordStream::operator=(RecordStream&& other) noexcept = default;
RecordStream::~RecordStream() = default;

Records RecordStream::next(std::string_view piece) {
  if (parts_->reader->done()) {
    return {};
  }
  parts_->text += piece;
  // Within a line nothing becomes certain, so it need not be looked through again.
  const bool tells = piece.find('\n') != std::string_view::npos ||
                     parts_->text.size() >= parts_->reader->look_ahead();
  return tells ? parts_->read(false) : Records{};
}

Records RecordStream::finish() { return parts_->read(true); }

}  // namespace dryshaft

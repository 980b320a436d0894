#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <sys/stat.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cerrno>
#include <cstring>
#include <functional>
#include <iterator>
#include <memory>
#include <utility>

#include "base/complaints.hpp"
#include "cli/accepted.hpp"
#include "cli/cli.hpp"
#include "cli/inputs.hpp"

namespace dryshaft::cli {
namespace {

constexpr std::size_t kMostAtOnce = std::size_t{1} << 18U;
// Room for white space around a record of the greatest size.
constexpr std::size_t kLongestLine = kMaxRecordBytes + 4096;
// A byte order mark is no white space, but stands before everything.
constexpr std::string_view kBlank = " \t\r\n\xEF\xBB\xBF";

// Whether there is something to read, or an end, within `milliseconds`; below 0: however long it
// takes.
bool comes(int descriptor, int milliseconds) {
  pollfd waiting{.fd = descriptor, .events = POLLIN, .revents = 0};
  return ::poll(&waiting, 1, milliseconds) != 0;  // of a failure, reading tells
}

std::unique_ptr<PieceReader> reader_for(const LineSource& source, std::string_view path,
                                        const ColumnMap& columns, const ReadOptions& options) {
  if (is_table(path)) {
    return table_reader(source.name(), columns, options);
  }
  return records_reader(source.name(), 1, options);
}

}  // namespace

LineSource::LineSource(const std::string& path)
    : name_(path == "-"    ? "<stdin>"
            : path.empty() ? "\"\""
                           : path) {
  const bool standard = path == "-";
  static bool standard_was_read = false;
  if (standard && std::exchange(standard_was_read, true)) {
    error_ = "it was named before, and can be read once";
    ended_ = true;
    return;
  }
  if (standard && isatty(STDIN_FILENO) != 0) {
    warn("dryshaft: reading from the terminal: Ctrl-D ends the input, --help tells more\n");
  }
  descriptor_ = standard ? STDIN_FILENO : ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor_ < 0) {
    error_ = std::strerror(errno);
    ended_ = true;
    return;
  }
  is_input(descriptor_);
  // A folder opens, but cannot be read: find out now rather than at the first line.
  fill();
}

LineSource::~LineSource() {
  if (descriptor_ > STDIN_FILENO) {
    ::close(descriptor_);
  }
}

bool LineSource::fill() {
  if (ended_) {
    return false;
  }
  buffer_.erase(0, at_);
  at_ = 0;
  const std::size_t had = buffer_.size();
  buffer_.resize(had + at_once_);
  ssize_t got = 0;
  while ((got = ::read(descriptor_, buffer_.data() + had, at_once_)) < 0 &&
         (errno == EINTR || errno == EAGAIN)) {
    comes(descriptor_, -1);  // EAGAIN: who gave us the input does not want to wait, we do
  }
  at_once_ = std::min(2 * at_once_, kMostAtOnce);
  ended_ = got <= 0;
  if (got < 0) {
    error_ = std::strerror(errno);
  }
  buffer_.resize(had + static_cast<std::size_t>(std::max<ssize_t>(got, 0)));
  return !ended_;
}

bool LineSource::next(std::string& line) {
  line.clear();
  bool any = false;
  while (true) {
    const std::string_view have = std::string_view(buffer_).substr(at_);
    const std::size_t end = have.find('\n');
    const std::string_view part = have.substr(0, end);
    any = any || !have.empty();
    if (line.size() < kLongestLine) {
      line.append(part.substr(0, kLongestLine - line.size()));
    }
    at_ += part.size() + (end == std::string_view::npos ? 0 : 1);
    if (end != std::string_view::npos || !fill()) {
      break;
    }
  }
  if (any) {
    ++line_;
  }
  return any;
}

bool LineSource::next_is_here() {
  while (!ended_ && !holds_line_end() && buffer_.size() - at_ < kLongestLine) {
    if (!comes(descriptor_, 0)) {
      return false;
    }
    fill();
  }
  return true;
}

void LineSource::skip_blank_lines() {
  while (true) {
    const std::size_t first = std::min(buffer_.find_first_not_of(kBlank, at_), buffer_.size());
    const auto begin = buffer_.begin() + static_cast<std::ptrdiff_t>(at_);
    const auto blank = buffer_.begin() + static_cast<std::ptrdiff_t>(first);
    line_ += static_cast<std::uint32_t>(std::count(begin, blank, '\n'));
    const std::size_t last = std::string_view(buffer_).substr(at_, first - at_).rfind('\n');
    at_ += last == std::string_view::npos ? 0 : last + 1;
    if (first < buffer_.size() || buffer_.size() - at_ > kLongestLine || !fill()) {
      return;
    }
  }
}

std::string_view LineSource::ahead(std::size_t bytes) {
  while (buffer_.size() - at_ < bytes && fill()) {
  }
  return std::string_view(buffer_).substr(at_);
}

std::string_view LineSource::line_ahead(std::size_t most) {
  while (!holds_line_end() && buffer_.size() - at_ <= most && fill()) {
  }
  const std::string_view have = std::string_view(buffer_).substr(at_);
  return have.substr(0, have.find('\n'));
}

void LineSource::pass(std::size_t bytes) {
  const auto begin = buffer_.begin() + static_cast<std::ptrdiff_t>(at_);
  line_ += static_cast<std::uint32_t>(
      std::count(begin, begin + static_cast<std::ptrdiff_t>(bytes), '\n'));
  at_ += bytes;
}

std::string LineSource::rest(const FileKind& kind) {
  const std::size_t most = kind.mebibytes << 20U;
  while (buffer_.size() - at_ <= most && fill()) {
  }
  std::string text = buffer_.substr(at_);
  at_ = buffer_.size();
  if (text.size() > most) {
    error_ = fmt::format("it holds more than {} MiB, the most that {} may hold", kind.mebibytes,
                         kind.what);
    ended_ = true;
  }
  return text;
}

Diagnostic input_complaint(const LineSource& source) {
  Diagnostic d;
  d.code = "no-input";
  d.source = source.name();
  d.message = "cannot be read: " + source.error();
  return d;
}

bool is_table(std::string_view path) {
  constexpr std::string_view kEnding = ".csv";
  return path.size() > kEnding.size() &&
         std::ranges::equal(path.substr(path.size() - kEnding.size()), kEnding,
                            [](char a, char b) { return a == b || (a | 0x20) == b; });
}

void add_columns_option(CLI::App& app, std::optional<std::string>& path) {
  app.add_option("--columns", path, "What the columns of .csv files hold; see dryshaft help csv")
      ->type_name("FILE");
}

Result<ColumnMap> load_columns(const std::optional<std::string>& path) {
  if (!path) {
    return {ColumnMap{}, {}};
  }
  LineSource source(*path);
  const std::string text = source.rest(kColumnsFile);
  Result<ColumnMap> map;
  if (source.error().empty()) {
    map = read_column_map(text, source.name());
  } else {
    map.diagnostics.push_back(input_complaint(source));
  }
  complain(map.diagnostics);
  return map;
}

std::optional<std::uintmax_t> size_of_files(const std::vector<std::string>& paths) {
  std::uintmax_t size = 0;
  for (const std::string& path : paths) {
    struct stat what {};
    if ((path == "-" ? fstat(STDIN_FILENO, &what) : stat(path.c_str(), &what)) != 0) {
      continue;  // it cannot be opened either
    }
    if (!S_ISREG(what.st_mode)) {
      return std::nullopt;
    }
    size += static_cast<std::uintmax_t>(what.st_size);
  }
  return size;
}

bool read_pieces(LineSource& source, PieceReader& reader, std::size_t at_once,
                 const std::function<bool(Records)>& take) {
  std::size_t wanted = 1;
  while (!reader.done() && !reader.rests()) {
    const std::string_view text = source.ahead(wanted);
    if (!source.error().empty()) {
      break;
    }
    Records read;
    const std::size_t used = reader.read(text, source.ended(), at_once, read);
    const bool more_needed = used == 0 && read.records.empty() && read.diagnostics.empty();
    wanted = more_needed ? text.size() + 1 : 1;
    source.pass(used);
    if (!take(std::move(read))) {
      return false;
    }
  }
  return true;
}

void read_each(const std::vector<std::string>& paths, const ColumnMap& columns,
               const ReadOptions& given, Accepted& known, UnitsRead& out,
               const std::function<void(Record)>& take) {
  const ReadOptions options = known.options(given);
  for (const std::string& path : paths) {
    LineSource source(path);
    const std::unique_ptr<PieceReader> reader = reader_for(source, path, columns, options);
    read_pieces(source, *reader, std::string::npos, [&](Records read) {
      out.records += read.records.size();
      for (Record& record : read.records) {
        take(std::move(record));
      }
      std::ranges::move(read.diagnostics, std::back_inserter(out.complaints));
      out.rejected += read.rejected;
      out.rejected_at_least = out.rejected_at_least || read.rejected_at_least;
      known.met(read.accepted);
      return true;
    });
    if (source.error().empty()) {
      out.sources.push_back(source.name());
    } else {
      out.complaints.push_back(input_complaint(source));
    }
  }
}

UnitsRead read_units(const std::vector<std::string>& paths, const ColumnMap& columns,
                     const ReadOptions& options, Accepted& known, std::optional<int> today) {
  UnitsRead out;
  std::vector<Record> records;
  read_each(paths, columns, options, known, out,
            [&](Record record) { records.push_back(std::move(record)); });
  Result<std::vector<History>> grouped = group_by_unit(std::move(records), today);
  known.leave_out(grouped.diagnostics);
  for (Diagnostic& d : grouped.diagnostics) {
    if (options.list_all) {
      out.complaints.push_back(std::move(d));
    } else {
      add_complaint(out.complaints, std::move(d));
    }
  }
  out.accepted = known.number();
  out.histories = std::move(grouped.value).value_or(std::vector<History>{});
  out.refused = complain(out.complaints);
  known.tell();
  return out;
}

std::vector<std::string> or_standard_input(const std::vector<std::string>& paths) {
  return paths.empty() ? std::vector<std::string>{"-"} : paths;
}

std::optional<int> newest_date(const std::vector<History>& histories) {
  std::optional<int> newest;
  for (const History& h : histories) {
    const int date = static_cast<int>(h.records.back().at(Field::date).number);
    newest = std::max(newest.value_or(date), date);
  }
  return newest;
}

}  // namespace dryshaft::cli

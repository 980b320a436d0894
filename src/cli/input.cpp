#include <cerrno>
#include <cstring>

#include "cli/cli.hpp"

namespace dryshaft::cli {
namespace {

constexpr std::size_t kChunk = std::size_t{1} << 18U;
// Room for white space around a record of the greatest size.
constexpr std::size_t kLongestLine = kMaxRecordBytes + 4096;

}  // namespace

LineSource::LineSource(const std::string& path) : name_(path == "-" ? "<stdin>" : path) {
  file_ = path == "-" ? stdin : std::fopen(path.c_str(), "rbe");
  if (file_ == nullptr) {
    error_ = std::strerror(errno);
    ended_ = true;
    return;
  }
  // A folder opens, but cannot be read: find out now rather than at the first line.
  fill();
}

LineSource::~LineSource() {
  if (file_ != nullptr && file_ != stdin) {
    std::fclose(file_);
  }
}

bool LineSource::fill() {
  if (ended_) {
    return false;
  }
  buffer_.erase(0, at_);
  at_ = 0;
  const std::size_t had = buffer_.size();
  buffer_.resize(had + kChunk);
  const std::size_t got = std::fread(buffer_.data() + had, 1, kChunk, file_);
  buffer_.resize(had + got);
  if (got < kChunk) {
    ended_ = true;
    if (std::ferror(file_) != 0) {
      error_ = std::strerror(errno);
    }
  }
  return got > 0;
}

bool LineSource::next(std::string& line) {
  line.clear();
  bool any = false;
  while (true) {
    const char* from = buffer_.data() + at_;
    const std::size_t have = buffer_.size() - at_;
    const void* end = have == 0 ? nullptr : std::memchr(from, '\n', have);
    const std::size_t take =
        end == nullptr ? have : static_cast<std::size_t>(static_cast<const char*>(end) - from);
    any = any || have > 0;
    if (line.size() < kLongestLine) {
      line.append(from, std::min(take, kLongestLine - line.size()));
    }
    at_ += take + (end == nullptr ? 0 : 1);
    if (end != nullptr || !fill()) {
      break;
    }
  }
  if (any) {
    ++line_;
  }
  return any;
}

std::string LineSource::rest() {
  while (fill()) {
  }
  std::string text = buffer_.substr(at_);
  at_ = buffer_.size();
  return text;
}

Diagnostic input_complaint(const LineSource& source) {
  Diagnostic d;
  d.code = "no-input";
  d.source = source.name();
  d.message = "cannot be read: " + source.error();
  return d;
}

}  // namespace dryshaft::cli

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

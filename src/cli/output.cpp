#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <climits>
#include <csignal>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <utility>

#include "base/complaints.hpp"
#include "base/utf8.hpp"
#include "cli/cli.hpp"
#include "cli/inputs.hpp"
#include "report/layout.hpp"

namespace dryshaft::cli {

void warn(std::string_view text) {
  // Where standard error cannot be written there is nobody left to tell.
  (void)std::fwrite(text.data(), 1, text.size(), stderr);
}

std::string folded(std::string_view label, std::size_t indent, std::string_view text) {
  constexpr std::size_t kWidth = 80;
  std::string out = fmt::format("{:<{}}", label, indent);
  bool first = true;
  for (const std::string& line : layout::wrap(layout::clean(text), kWidth - indent)) {
    out += first ? line : fmt::format("{:<{}}{}", "", indent, line);
    out += '\n';
    first = false;
  }
  return first ? out + '\n' : out;
}

bool complain(const std::vector<Diagnostic>& diagnostics) {
  bool refused = false;
  Complaints said;
  for (const Diagnostic& d : diagnostics) {
    if (said.lists(d)) {
      warn(to_text(d));
    }
    refused = refused || d.severity == Severity::error;
  }
  for (const Diagnostic& d : said.rest()) {
    warn(to_text(d));
  }
  return refused;
}

Progress::Progress(bool wanted)
    : on_(wanted && isatty(STDERR_FILENO) != 0),
      next_(Clock::now() + std::chrono::milliseconds(500)) {}

void Progress::at(std::size_t done, std::size_t of, std::string_view what) {
  if (!on_) {
    return;
  }
  const std::scoped_lock lock(one_at_a_time_);
  const Clock::time_point now = Clock::now();
  if (now >= next_) {
    next_ = now + std::chrono::milliseconds(100);
    say(of == 0 ? fmt::format("{} {}", done, what) : fmt::format("{} of {} {}", done, of, what));
  }
}

void Progress::say(std::string_view text) {
  if (on_) {
    shown_ = true;
    warn(fmt::format("\r\033[K{}", text));
  }
}

void Progress::clear() {
  if (std::exchange(shown_, false)) {
    warn("\r\033[K");
  }
}

void Progress::end() {
  clear();
  on_ = false;
}

bool on_terminal(const std::optional<std::string>& out) {
  return (!out || *out == "-") && isatty(STDOUT_FILENO) != 0;
}

bool coloured(const std::optional<std::string>& out) {
  const char* no_colour = std::getenv("NO_COLOR");
  return on_terminal(out) && (no_colour == nullptr || *no_colour == '\0');
}

namespace {

// What a signal that ends the program takes away: an output that is not complete.
std::array<char, PATH_MAX> unfinished{};
volatile std::sig_atomic_t is_unfinished = 0;

extern "C" void take_unfinished_away(int signal) {
  if (is_unfinished != 0) {
    unlink(unfinished.data());
  }
  std::signal(signal, SIG_DFL);
  std::raise(signal);
}

// mkstemp, and a signal that ends the program takes the file away again.
int make_unfinished(std::string& path) {
  constexpr std::array kEnding = {SIGHUP, SIGINT, SIGTERM};
  sigset_t ending;
  sigemptyset(&ending);
  for (const int signal : kEnding) {
    sigaddset(&ending, signal);
    if (std::signal(signal, take_unfinished_away) == SIG_IGN) {  // as nohup wants it
      std::signal(signal, SIG_IGN);
    }
  }
  sigset_t before;
  pthread_sigmask(SIG_BLOCK, &ending, &before);  // until the file's name is known
  const int descriptor = mkstemp(path.data());
  const int error = errno;
  if (descriptor >= 0 && path.size() < unfinished.size()) {
    std::strcpy(unfinished.data(), path.c_str());
    is_unfinished = 1;
  }
  pthread_sigmask(SIG_SETMASK, &before, nullptr);
  errno = error;
  return descriptor;
}

}  // namespace

Output::Output(const std::optional<std::string>& path, Inputs inputs) : inputs_(inputs) {
  if (!path || *path == "-") {
    file_ = stdout;
    path_ = "standard output";
    return;
  }
  path_ = *path;
  struct stat what {};
  const bool exists = stat(path_.c_str(), &what) == 0;
  if (exists && !S_ISREG(what.st_mode)) {  // a device or a pipe cannot be replaced
    file_ = std::fopen(path_.c_str(), "wbe");
    if (file_ == nullptr) {
      fail(std::strerror(errno));
    }
    return;
  }
  if (is_kept(path_)) {
    return;
  }
  target_ = path_;
  std::error_code ec;
  if (std::filesystem::is_symlink(path_, ec)) {  // what a link names is replaced, not the link
    ec.clear();
    target_ = std::filesystem::weakly_canonical(path_, ec).string();
    if (ec) {
      fail(ec.message());
      return;
    }
  }
  temporary_ = target_ + ".XXXXXX";
  const int descriptor = make_unfinished(temporary_);
  if (descriptor < 0) {
    const std::string why = std::strerror(errno);
    temporary_.clear();
    fail(why);
    return;
  }
  // mkstemp makes the file private: give it what a new file, or the old one, would have.
  const mode_t mask = umask(0);
  umask(mask);
  const mode_t mode = exists ? what.st_mode & 07777U : 0666U & ~mask;
  file_ = fchmod(descriptor, mode) == 0 ? fdopen(descriptor, "wb") : nullptr;
  if (file_ == nullptr) {
    const std::string why = std::strerror(errno);
    close(descriptor);
    fail(why);
  }
}

Output::~Output() {
  if (file_ != nullptr && file_ != stdout) {
    std::fclose(file_);
  }
  if (!temporary_.empty()) {
    unlink(temporary_.c_str());
    is_unfinished = 0;
  }
}

bool Output::is_kept(const std::string& path) {
  const std::string_view why = inputs_ == Inputs::keep ? why_kept(path) : "";
  if (!why.empty()) {
    fail(std::string(why));
  }
  return !why.empty();
}

void Output::fail(const std::string& what) {
  if (!failed_) {
    warn(fmt::format("{}: error[output]: cannot be written: {}\n",
                     path_.empty() ? "\"\"" : utf8::harmless(path_), what));
  }
  failed_ = true;
}

bool Output::write(std::string_view text) {
  if (failed_ || reader_left_) {
    return false;
  }
  if (std::fwrite(text.data(), 1, text.size(), file_) != text.size()) {
    if (errno == EPIPE) {
      reader_left_ = true;
    } else {
      fail(std::strerror(errno));
    }
    return false;
  }
  return true;
}

void Output::flush() {
  if (!failed_ && !reader_left_ && std::fflush(file_) != 0) {
    if (errno == EPIPE) {
      reader_left_ = true;
    } else {
      fail(std::strerror(errno));
    }
  }
}

int Output::finish() {
  flush();
  if (failed_) {
    return kOutput;
  }
  if (temporary_.empty()) {
    return kDone;
  }
  if (is_kept(target_)) {  // since this was opened
    return kOutput;
  }
  // On the disk before the name changes: a crash leaves the old file or the new one.
  if (fsync(fileno(file_)) != 0) {
    fail(std::strerror(errno));
    return kOutput;
  }
  is_output(fileno(file_));
  const int closed = std::fclose(file_);
  file_ = nullptr;
  if (closed != 0 || std::rename(temporary_.c_str(), target_.c_str()) != 0) {
    fail(std::strerror(errno));
    return kOutput;
  }
  is_unfinished = 0;
  temporary_.clear();
  return kDone;
}

}  // namespace dryshaft::cli

#include "cli/accepted.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>
#include <utility>

#include "base/complaints.hpp"
#include "base/json_out.hpp"
#include "base/sha256.hpp"
#include "cli/cli.hpp"
#include "knowledge/object_view.hpp"
#include "report/words.hpp"

namespace dryshaft::cli {
namespace {

constexpr double kMostLines = 4294967295.0;

}  // namespace

void add_accepted_option(CLI::App& app, std::optional<std::string>& path) {
  app.add_option("--accepted", path,
                 "Known bad inputs, from check --format jsonl: they are counted, and give no exit "
                 "code 3")
      ->type_name("FILE");
}

Accepted::Accepted(const std::optional<std::string>& path) : path_(path.value_or("")) {
  if (path) {
    read(text_file(*path, kAcceptedFile).text);
  }
}

void Accepted::read(const std::string& text) {
  std::vector<Diagnostic> complaints;
  std::uint32_t line = 0;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    const std::string_view entry = std::string_view(text).substr(at, end - at);
    at = end + 1;
    ++line;
    if (entry.find_first_not_of(" \t\r") == std::string_view::npos) {
      continue;
    }
    const located::Document document(entry, {path_, line, 1}, kDataLimits, complaints);
    if (!document.usable()) {
      continue;
    }
    ObjectView view(document, document.root(), complaints);
    if (!view.is_object()) {
      continue;
    }
    view.word("format", {kAcceptedFormat});
    const located::Node* hash = view.required("sha256");
    const std::string sha256 = hash != nullptr ? view.text_at(*hash) : "";
    if (hash != nullptr && !sha256.empty() && !is_sha256_hex(sha256)) {
      view.complain(*hash, "bad-value", fmt::format("is {}", located::shown(document, *hash)),
                    fmt::format("{}, as check --format jsonl writes them", kSha256Allowed));
    }
    const located::Node* reason = view.required("reason");
    if (reason != nullptr && reason->kind == located::Kind::text && reason->text.empty()) {
      view.complain(*reason, "no-reason", "is empty", "why this input may stay as it is");
    } else if (reason != nullptr) {
      view.text_at(*reason);
    }
    view.optional_text("source");
    view.optional_number("line", 0, kMostLines);
    view.optional_text("error");
    view.done();
    if (hash != nullptr) {
      Diagnostic unmet = document.at(*hash, "not-met", "is of no rejected input");
      unmet.severity = Severity::warning;
      unmet.hint = "take the line out where the input was put right";
      entries_.emplace(sha256, Entry{std::move(unmet)});
    }
  }
  usable_ = !complain(complaints);
}

ReadOptions Accepted::options(ReadOptions read) const {
  for (const auto& [hash, entry] : entries_) {
    read.accepted.insert(hash);
  }
  return read;
}

void Accepted::met(const std::vector<std::string>& hashes) {
  for (const std::string& hash : hashes) {
    ++entries_.at(hash).met;
    ++number_;
  }
}

void Accepted::leave_out(std::vector<Diagnostic>& complaints) {
  if (entries_.empty()) {
    return;
  }
  std::set<std::string, std::less<>> known;
  for (const auto& [hash, entry] : entries_) {
    known.insert(hash);
  }
  for (const std::string& hash : dryshaft::leave_out(complaints, known)) {
    // A record may have been met when it was read.
    number_ += entries_.at(hash).met++ == 0 ? 1 : 0;
  }
}

void Accepted::tell() const {
  if (number_ > 0) {
    warn(fmt::format(
        "dryshaft: {} by {}\n",
        words::count(number_, "rejected input is accepted", "rejected inputs are accepted"),
        path_));
  }
  std::vector<Diagnostic> unmet;
  for (const auto& [hash, entry] : entries_) {
    if (entry.met == 0) {
      unmet.push_back(entry.at);
    }
  }
  std::ranges::stable_sort(unmet, {}, place_in_text);
  std::vector<Diagnostic> listed;
  for (Diagnostic& d : unmet) {
    add_complaint(listed, std::move(d));
  }
  (void)complain(listed);
}

std::string accepted_lines(const std::vector<Diagnostic>& complaints) {
  std::string out;
  std::set<std::string> met;
  for (const Diagnostic& d : complaints) {
    if (d.severity != Severity::error || d.input_sha256.empty() ||
        !met.insert(d.input_sha256).second) {
      continue;
    }
    nlohmann::ordered_json line;
    line["format"] = kAcceptedFormat;
    line["sha256"] = d.input_sha256;
    line["reason"] = "";
    line["source"] = d.source;
    line["line"] = d.line;
    line["error"] =
        fmt::format("{}: {}{}{}", d.code, d.pointer, d.pointer.empty() ? "" : " ", d.message);
    out += json_out::of(line) + "\n";
  }
  return out;
}

}  // namespace dryshaft::cli

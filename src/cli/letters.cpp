#include "cli/letters.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <filesystem>
#include <set>
#include <system_error>

#include "base/sha256.hpp"
#include "base/utf8.hpp"
#include "cli/cli.hpp"
#include "cli/parallel.hpp"
#include "record/look_alike.hpp"

namespace dryshaft::cli {
namespace {

// Bytes. Most file systems take 255 a name, and ending and marks want some of them.
constexpr std::size_t kLongestName = 160;

bool is_plain(char32_t c) {
  return (c >= U'0' && c <= U'9') || (c >= U'A' && c <= U'Z') || (c >= U'a' && c <= U'z') ||
         c == U'-' || c == U'_' || c == U'.' || c == U'+' || c == U' ' ||
         (c > 0x7F && !utf8::misleads(c));
}

// What of an id may stand in a name: no separator, nothing hidden, nothing taken for an option.
std::string safe(std::string_view id) {
  std::string name;
  for (std::size_t at = 0; at < id.size();) {
    const utf8::Character c = utf8::decode(id, at);
    if (name.size() + c.length > kLongestName) {
      break;
    }
    const bool leads = name.empty() && (c.code == U'.' || c.code == U'-' || c.code == U' ');
    if (c.valid && is_plain(c.code) && !leads) {
      name += id.substr(at, c.length);
    } else {
      name.push_back('_');
    }
    at += c.length;
  }
  return name;
}

}  // namespace

std::vector<std::string> file_names(const std::vector<std::string>& ids) {
  std::vector<std::string> names;
  std::set<std::string> taken;  // as they look: some systems know no capitals
  for (const std::string& id : ids) {
    const std::string base = safe(id);
    const std::string sha256 = sha256_hex(id);
    std::string name = base;
    for (std::size_t digits = 8; (name == base && base != id) || !taken.insert(looks(name)).second;
         digits *= 2) {
      name = fmt::format("{}-{}", base, std::string_view(sha256).substr(0, digits));
    }
    names.push_back(std::move(name));
  }
  return names;
}

int write_files(const std::string& folder, const std::vector<std::string>& names, unsigned jobs,
                const std::function<std::string(std::size_t)>& text_of) {
  std::error_code failed;
  std::filesystem::create_directories(folder, failed);
  if (failed) {
    warn(fmt::format("{}: error[output]: cannot be made: {}\n",
                     folder.empty() ? "\"\"" : utf8::harmless(folder), failed.message()));
    return kOutput;
  }
  constexpr std::size_t kAtOnce = 256;
  int code = kDone;
  Progress progress;
  std::vector<std::string> texts;
  for (std::size_t done = 0; done < names.size(); done += texts.size()) {
    texts.assign(std::min(kAtOnce, names.size() - done), {});
    in_parallel(texts.size(), jobs, [&](std::size_t i) { texts[i] = text_of(done + i); });
    progress.clear();
    for (std::size_t i = 0; i < texts.size(); ++i) {
      Output output((std::filesystem::path(folder) / names[done + i]).string());
      output.write(texts[i]);
      code = output.finish() == kDone ? code : kOutput;
    }
    progress.at(done + texts.size(), names.size(), "letters");
  }
  return code;
}

void add_letters_option(CLI::App& app, std::optional<std::string>& folder) {
  app.add_option("--letters", folder,
                 "Write each unit's owner a file of their own into this folder")
      ->type_name("FOLDER");
}

void Owners::add(std::size_t unit, const Report& report) {
  if (report.left && report.left->did != Did::unit_returned) {
    ++gone;
  } else if (report.whereabouts == Whereabouts::core) {
    ++cores;
  } else {
    units.push_back(unit);
  }
}

int write_letters(const Letters& letters, const Grader& grader,
                  const std::vector<History>& histories, const Owners& owners) {
  const std::vector<std::size_t>& of = owners.units;
  std::vector<std::string> ids;
  ids.reserve(histories.size());
  for (const History& h : histories) {
    ids.push_back(h.unit_id);
  }
  const std::vector<std::string> all = file_names(ids);
  std::vector<std::string> names;
  names.reserve(of.size());
  for (const std::size_t i : of) {
    names.push_back(fmt::format("{}.{}", all[i], letters.ending));
  }
  AssessOptions options = letters.options;
  options.audience = Audience::owner;
  const int code = write_files(letters.folder, names, letters.jobs, [&](std::size_t i) {
    const Report r =
        grader.report(letters.shown ? letters.shown(of[i]) : histories[of[i]], options);
    return letters.ending == "html" ? to_html(r, letters.units)
           : letters.ending == "md" ? to_markdown(r, letters.units, true)
                                    : to_text(r, {.units = letters.units, .full = true});
  });
  const auto tell = [](std::size_t number, std::string_view why) {
    if (number > 0) {
      warn(fmt::format("dryshaft: no letter for {}: {}\n",
                       number == 1 ? "1 unit" : fmt::format("{} units", number), why));
    }
  };
  tell(owners.cores, "graded at intake, and without an owner");
  tell(owners.gone, "sold or scrapped");
  return code;
}

}  // namespace dryshaft::cli

// How fast the program grades, beside a loop that only parses the same lines, in one run.
//
//     assess_bench PROGRAM INTAKE.jsonl [RECORDS [FOLDER]]
//
// Writes RECORDS records (200,000 if not said) into FOLDER (the system's for temporary files):
// those of the intake list over and over, each with an id and an odometer of its own. Prints a
// Markdown table of processor seconds, ratios and peak memory. jq is a second yardstick where it is
// installed.
#include <fcntl.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

extern char** environ;

namespace {

using Json = nlohmann::ordered_json;

struct Spent {
  double wall = 0;       // s
  double processor = 0;  // s
  double mib = 0;        // at most resident
  int code = 0;
};

double seconds(const timeval& t) {
  return static_cast<double>(t.tv_sec) + static_cast<double>(t.tv_usec) * 1e-6;
}

// Runs a command whose output goes nowhere.
Spent run(std::vector<std::string> words) {
  std::vector<char*> arguments;
  arguments.reserve(words.size() + 1);
  for (std::string& word : words) {
    arguments.push_back(word.data());
  }
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
  const auto start = std::chrono::steady_clock::now();
  pid_t child = 0;
  Spent spent;
  spent.code = posix_spawnp(&child, arguments[0], &actions, nullptr, arguments.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  if (spent.code != 0) {
    return spent;
  }
  int status = 0;
  rusage usage{};
  wait4(child, &status, 0, &usage);
  spent.wall = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  spent.processor = seconds(usage.ru_utime) + seconds(usage.ru_stime);
  spent.mib = static_cast<double>(usage.ru_maxrss) / 1024;
  spent.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return spent;
}

std::vector<Json> intake(const char* path) {
  std::vector<Json> records;
  std::ifstream in(path);
  for (std::string line; std::getline(in, line);) {
    records.push_back(Json::parse(line));
  }
  return records;
}

void write(const std::vector<Json>& from, std::size_t count, const std::string& path) {
  std::ofstream out(path);
  for (std::size_t i = 0; i < count; ++i) {
    Json record = from[i % from.size()];
    record["unit"]["id"] = "HL-" + std::to_string(100000 + i);
    Json& inspection = record["inspection"];
    if (const auto km = inspection.find("odometer_km"); km != inspection.end()) {
      *km = km->get<double>() + static_cast<double>(i / from.size());
    }
    out << record.dump() << '\n';
  }
}

double parse_loop(const std::string& path) {
  const std::clock_t start = std::clock();
  std::ifstream in(path);
  std::size_t members = 0;
  for (std::string line; std::getline(in, line);) {
    members += nlohmann::json::parse(line).size();
  }
  const double spent = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
  return members > 0 ? spent : 0;
}

void row(const char* what, const Spent& s, double yardstick, double by) {
  std::printf("| %s | %.2f | %.2f | %.2f | %.0f | %d |\n", what, s.wall, s.processor,
              by / yardstick, s.mib, s.code);
}

}  // namespace

int main(int count, char** arguments) {
  if (count < 3) {
    std::fprintf(stderr, "assess_bench PROGRAM INTAKE.jsonl [RECORDS [FOLDER]]\n");
    return 2;
  }
  const std::string program = arguments[1];
  const std::size_t records = count > 3 ? std::strtoull(arguments[3], nullptr, 10) : 200000;
  const std::string folder =
      count > 4 ? arguments[4] : std::filesystem::temp_directory_path().string();
  const std::vector<Json> from = intake(arguments[2]);
  if (from.empty()) {
    std::fprintf(stderr, "assess_bench: %s holds no records\n", arguments[2]);
    return 2;
  }
  const std::string many = folder + "/assess_bench.jsonl";
  const std::string yard = folder + "/assess_bench_yard.jsonl";
  constexpr std::size_t kYard = 2000;
  write(from, records, many);
  write(from, kYard, yard);

  const double loop = parse_loop(many);
  std::printf("%zu records, %.1f MB; the loop that only parses takes %.2f s\n\n", records,
              static_cast<double>(std::filesystem::file_size(many)) / 1e6, loop);
  std::printf("| what | wall s | processor s | ratio | MiB | exit |\n|---|---|---|---|---|---|\n");
  const Spent jq = run({"jq", "-c", ".", many});
  if (jq.code == 0) {
    row("jq -c, processor to the loop", jq, loop, jq.processor);
  }
  const Spent one = run({program, "assess", "--format", "jsonl", "--jobs", "1", many});
  row("assess --format jsonl --jobs 1, processor to the loop", one, loop, one.processor);
  const Spent two = run({program, "assess", "--format", "jsonl", "--jobs", "2", many});
  row("the same with --jobs 2, wall to one job", two, one.wall, two.wall);
  const Spent page = run({program, "assess", "--format", "html", "--jobs", "1", yard});
  row("a page of 2,000 units, wall to 1 s", page, 1, page.wall);
  constexpr std::size_t kCold = 21;
  const std::string single = folder + "/assess_bench_one.jsonl";
  write(from, 1, single);
  std::array<Spent, kCold> cold;
  for (Spent& s : cold) {
    s = run({program, "assess", single});
  }
  std::ranges::nth_element(cold, cold.begin() + kCold / 2, {}, &Spent::wall);
  row("one report cold (median of 21), wall to 10 ms", cold[kCold / 2], 0.010,
      cold[kCold / 2].wall);
  for (const std::string& path : {many, yard, single}) {
    std::filesystem::remove(path);
  }
  return 0;
}

#include "form/filled.hpp"

#include <algorithm>
#include <array>
#include <cstdint>

#include "base/utf8.hpp"
#include "dryshaft/diagnostic.hpp"

namespace dryshaft::form {
namespace {

// ------------------------------------------------------------ characters

bool among(char32_t code, std::u32string_view all) {
  return all.find(code) != std::u32string_view::npos;
}

bool is_unseen_at(std::string_view text, std::size_t at, std::size_t length) {
  return utf8::trim_unseen(text.substr(at, length)).empty();
}

// Symbols and punctuation of Unicode, as far as people and programs put them into a form.
bool is_symbol(char32_t c) {
  return (c >= 0x80 && c <= 0xBF && c != 0xAA && c != 0xB5 && c != 0xBA) || c == 0xD7 ||
         c == 0xF7 || (c >= 0x2000 && c <= 0x2BFF) || (c >= 0x3000 && c <= 0x303F) ||
         (c >= 0xFE00 && c <= 0xFE0F) || c == 0xFFFD || c >= 0x1F000;
}

bool is_letter(char32_t c) {
  return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
         (c >= 0x80 && !is_symbol(c));
}

// Punctuation that says nothing, and quotes and dashes as programs change them.
bool is_soft(char32_t c) {
  return among(c, U".,;:'\"()/-") || (c >= 0x2010 && c <= 0x201F) || c == 0xAB || c == 0xBB ||
         c == 0xB4;
}

// Boxes that programs make of "[ ]"; and brackets, which say nothing by themselves.
bool is_frame(char32_t c) {
  return among(c,
               U"()[]{}_|`.,;:'\"\u2610\u25A1\u25A2\u25CB\u25EF\u2B1C\u274F\u2750\u2751\u2752") ||
         (c >= 0x2018 && c <= 0x201F);
}
bool begins_box(char32_t c) {
  return among(c, U"[(\u2610\u2611\u2612\u25A1\u25A2\u25CB\u25EF\u2B1C\u274F\u2750\u2751\u2752");
}

// What people tick with.
bool is_tick(char32_t c) {
  return among(c,
               U"\u00D7\u221A\u2297\u22A0\u25A0\u25CF\u2573\u2611\u2612\u2613\u2705\u2713\u2714"
               U"\u2715\u2716\u2717\u2718\U0001F5F8\U0001F5F9");
}
bool is_arrow(char32_t c) {
  return (c >= 0x2190 && c <= 0x21FF) || (c >= 0x27F0 && c <= 0x27FF) ||
         (c >= 0x2B05 && c <= 0x2B0D) || (c >= 0x1F446 && c <= 0x1F449);
}

bool is_mark_word(std::string_view word) {
  static constexpr std::array<std::string_view, 6> kWords = {
      "v", "yes", "ok", "\xD1\x85" /* a Cyrillic x */, "\xD0\xA5", "\xEF\xBD\x98"};
  return word.find_first_not_of('x') == std::string_view::npos ||
         std::ranges::find(kWords, word) != kWords.end();
}

// Lines that only divide.
bool divides(std::string_view line) {
  return line.find_first_not_of("-=_*~#. >|\r\t") == std::string_view::npos;
}

std::string_view bare(std::string_view text) { return utf8::trim_unseen(text); }

// ----------------------------------------------------------------- signs

// What a short stretch of text beside a choice is made of.
struct Signs {
  bool tick = false;    // a tick, or the word of one
  bool points = false;  // stars, exclamation marks, arrows
  bool odd = false;     // other signs
  std::string mark;     // the word that ticks
  std::string all;      // every sign; numbers and single letters of a list as "1" and "a"
  std::string words;    // all others
};

Signs signs_of(std::string_view text) {
  Signs out;
  for (std::size_t i = 0; i < text.size();) {
    const utf8::Character c = utf8::decode(text, i);
    if (is_letter(c.code)) {
      const std::vector<Word> word = words_of(text.substr(i));
      const std::string& plain = word.front().plain;
      if (is_mark_word(plain)) {
        out.tick = true;
        out.mark = plain;
        out.all += plain;
      } else if (plain.find_first_not_of("0123456789") == std::string::npos) {
        out.all += '1';
        out.odd = true;
      } else if (plain.size() == 1) {
        out.all += 'a';
        out.odd = true;
      } else {
        out.words += (out.words.empty() ? "" : " ") + plain;
      }
      i += word.front().end;
      continue;
    }
    if (!is_frame(c.code) && !is_unseen_at(text, i, c.length)) {
      out.all += text.substr(i, c.length);
      if (is_tick(c.code)) {
        out.tick = true;
      } else if (among(c.code, U"*+!<#") || is_arrow(c.code)) {
        out.points = true;
      } else {
        out.odd = true;
      }
    }
    i += c.length;
  }
  if (out.all.find('>') != std::string::npos &&
      out.all.find_first_of("-=") != std::string::npos) {  // "-->"
    out.points = true;
  }
  return out;
}

// ------------------------------------------------------------- alignment

constexpr std::size_t kMostCells = 4'000'000;

// Whether only soft punctuation and white space stand between two words.
bool adjoin(std::string_view text, const Word& left, const Word& right) {
  for (std::size_t i = left.end; i < right.begin;) {
    const utf8::Character c = utf8::decode(text, i);
    if (!is_soft(c.code) && !is_unseen_at(text, i, c.length)) {
      return false;
    }
    i += c.length;
  }
  return true;
}

class Aligner {
 public:
  Aligner(const Print& print, std::string_view text, Match& out)
      : print_(print), text_(text), out_(out), is_label_(print.words.size(), kNone) {
    for (std::size_t l = 0; l < print.labels.size(); ++l) {
      for (std::size_t p = print.labels[l].first; p < print.labels[l].end; ++p) {
        is_label_[p] = l;
      }
    }
  }

  void run() {
    out_.print.assign(out_.words.size(), kNone);
    joined_.assign(out_.words.size(), false);
    find();
    slide();
    settle_labels();
    mend();
    drop_chance();
  }

 private:
  // The heaviest common subsequence; a label weighs a little more, above all behind a box.
  void find() {
    std::vector<std::string_view> known;
    for (const Word& w : print_.words) {
      known.emplace_back(w.plain);
    }
    std::ranges::sort(known);
    std::vector<std::size_t> some;  // written words that are printed somewhere
    for (std::size_t w = 0; w < out_.words.size(); ++w) {
      if (std::ranges::binary_search(known, std::string_view(out_.words[w].plain))) {
        some.push_back(w);
      }
    }
    std::size_t same = 0;
    while (same < some.size() && same < print_.words.size() &&
           out_.words[some[same]].plain == print_.words[same].plain) {
      out_.print[some[same]] = same;
      ++same;
    }
    const std::size_t rows = print_.words.size() - same;
    const std::size_t columns = some.size() - same;
    if (rows == 0 || columns == 0 || columns > kMostCells / rows) {
      return;
    }
    std::vector<std::uint32_t> best((rows + 1) * (columns + 1));
    const auto at = [&](std::size_t r, std::size_t c) -> std::uint32_t& {
      return best[r * (columns + 1) + c];
    };
    const auto weight = [&](std::size_t r, std::size_t c) {
      const std::size_t p = same + r;
      const std::size_t w = some[same + c];
      if (print_.words[p].plain != out_.words[w].plain) {
        return 0U;
      }
      constexpr std::uint32_t kWord = 16;
      const std::size_t l = is_label_[p];
      return kWord + (l == kNone ? 0U : p == print_.labels[l].first && is_labelled(w) ? 2U : 1U);
    };
    for (std::size_t r = rows; r-- > 0;) {
      for (std::size_t c = columns; c-- > 0;) {
        const std::uint32_t with = weight(r, c);
        at(r, c) = std::max({at(r + 1, c), at(r, c + 1), with == 0 ? 0 : with + at(r + 1, c + 1)});
      }
    }
    for (std::size_t r = 0, c = 0; r < rows && c < columns;) {
      const std::uint32_t with = weight(r, c);
      if (with != 0 && at(r, c) == with + at(r + 1, c + 1)) {
        out_.print[some[same + c]] = same + r;
        ++r;
        ++c;
      } else if (at(r, c) == at(r + 1, c)) {
        ++r;
      } else {
        ++c;
      }
    }
  }

  // Of several places that serve a word alike, the one beside its neighbour behind it.
  void slide() {
    std::vector<bool> taken(print_.words.size());
    for (const std::size_t p : out_.print) {
      if (p != kNone) {
        taken[p] = true;
      }
    }
    for (std::size_t w = out_.words.size(); w-- > 1;) {
      const std::size_t p = out_.print[w - 1];
      const std::size_t next = out_.print[w];
      if (p != kNone && next != kNone && next > p + 1 && !taken[next - 1] &&
          print_.words[next - 1].plain == print_.words[p].plain) {
        taken[p] = false;
        taken[next - 1] = true;
        out_.print[w - 1] = next - 1;
      }
    }
  }

  // A box stands before the word, or a colon behind it.
  [[nodiscard]] bool is_labelled(std::size_t w) const {
    const std::size_t from = w == 0 ? 0 : out_.words[w - 1].end;
    const std::string_view gap = text_.substr(from, out_.words[w].begin - from);
    return gap.find(']') != std::string_view::npos ||
           gap.find("\u2610") != std::string_view::npos ||
           text_.substr(out_.words[w].end).starts_with(':');
  }

  // A label is there whole and in one piece, or it is not there.
  void settle_labels() {
    std::vector<std::size_t> written(print_.words.size(), kNone);
    for (std::size_t w = 0; w < out_.words.size(); ++w) {
      if (out_.print[w] != kNone) {
        written[out_.print[w]] = w;
      }
    }
    out_.labels.assign(print_.labels.size(), {});
    for (std::size_t l = 0; l < print_.labels.size(); ++l) {
      const Print::Label& label = print_.labels[l];
      bool whole = written[label.first] != kNone;
      for (std::size_t p = label.first + 1; whole && p < label.end; ++p) {
        whole = written[p] == written[p - 1] + 1 &&
                adjoin(text_, out_.words[written[p - 1]], out_.words[written[p]]);
      }
      if (whole) {
        out_.labels[l] = {written[label.first], written[label.end - 1] + 1};
        continue;
      }
      for (std::size_t p = label.first; p < label.end; ++p) {
        if (written[p] != kNone) {
          out_.print[written[p]] = kNone;
        }
      }
    }
  }

  [[nodiscard]] bool in_label(std::size_t w) const {
    return out_.print[w] != kNone && is_label_[out_.print[w]] != kNone;
  }

  // Printed words that were split, joined or mistyped on their way are still the form's.
  void mend() {
    std::size_t last = kNone;
    for (std::size_t w = 0; w < out_.words.size(); ++w) {
      if (out_.print[w] == kNone) {
        continue;
      }
      if (last != kNone) {
        const std::size_t p = out_.print[last];
        const std::size_t missing = out_.print[w] - p - 1;
        const std::size_t more = w - last - 1;
        joined_[w] = missing == 0 && more == 0;
        constexpr std::size_t kMost = 3;
        const bool split =
            missing > 0 && missing <= kMost && more > 0 && more <= kMost &&
            letters_of(print_.words, p + 1, missing) == letters_of(out_.words, last + 1, more);
        const std::size_t begin = last + 1 + (split ? 0 : behind_label(last, w));
        if (missing > 0 && missing <= kMost && begin < w && w - begin <= kMost &&
            like(p + 1, missing, begin, w - begin)) {
          for (std::size_t i = begin; i < w; ++i) {
            out_.print[i] = p + 1;
            joined_[i] = i > last + 1 || begin == last + 1;
          }
          joined_[w] = true;
        }
      }
      last = w;
    }
  }
  // Words between two printed ones that stand on the line of the first, where that ends a label:
  // they are an answer, whatever they look like.
  [[nodiscard]] std::size_t behind_label(std::size_t first, std::size_t next) const {
    if (!in_label(first)) {
      return 0;
    }
    const std::size_t end = text_.find('\n', out_.words[first].end);
    std::size_t count = 0;
    while (first + 1 + count < next && out_.words[first + 1 + count].begin < end) {
      ++count;
    }
    return count;
  }
  static std::string letters_of(const std::vector<Word>& words, std::size_t first,
                                std::size_t count) {
    std::string out;
    for (std::size_t i = first; i < first + count; ++i) {
      out += words[i].plain;
    }
    return out;
  }
  [[nodiscard]] bool like(std::size_t p, std::size_t missing, std::size_t w,
                          std::size_t more) const {
    constexpr std::string_view kDigits = "0123456789";
    for (std::size_t i = 0; i < missing; ++i) {
      if (is_label_[p + i] != kNone) {
        return false;
      }
    }
    for (std::size_t i = 0; i < more; ++i) {
      if (is_mark_word(out_.words[w + i].plain)) {
        return false;
      }
    }
    const std::string printed = letters_of(print_.words, p, missing);
    const std::string written = letters_of(out_.words, w, more);
    if (written.find_first_of(kDigits) != std::string::npos &&
        printed.find_first_of(kDigits) == std::string::npos) {
      return false;  // somebody's number
    }
    const std::string& shorter = written.size() < printed.size() ? written : printed;
    const std::string& longer = written.size() < printed.size() ? printed : written;
    const bool letter_more = longer.size() == shorter.size() + 1 &&
                             (longer.starts_with(shorter) || longer.ends_with(shorter));
    return written == printed || letter_more || !closest(written, {printed}).empty();
  }

  // One or two words alone are not the form's, whatever they are.
  void drop_chance() {
    constexpr std::size_t kFew = 3;
    for (std::size_t w = 0; w < out_.words.size();) {
      std::size_t end = w + 1;
      bool labelled = in_label(w);
      while (end < out_.words.size() && joined_[end]) {
        labelled = labelled || in_label(end);
        ++end;
      }
      if (!labelled && end - w < kFew && end - w < print_.words.size()) {
        std::fill(out_.print.begin() + static_cast<std::ptrdiff_t>(w),
                  out_.print.begin() + static_cast<std::ptrdiff_t>(end), kNone);
      }
      w = end;
    }
  }

  const Print& print_;
  std::string_view text_;
  Match& out_;
  std::vector<std::size_t> is_label_;  // one a printed word
  std::vector<bool> joined_;           // to the word before, in the print as in the text
};

// ----------------------------------------------------------------- lines

std::vector<Span> lines_in(std::string_view text) {
  std::vector<Span> out;
  for (std::size_t at = 0; at <= text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    out.push_back({at, end});
    at = end + 1;
  }
  return out;
}

Piece piece_at(std::string_view text, std::size_t begin, std::size_t end) {
  const std::string_view words = bare(text.substr(begin, end - begin));
  return {words.empty() ? begin : static_cast<std::size_t>(words.data() - text.data()),
          std::string(words)};
}

// Walks through a text line by line, with the words of each.
class Lines {
 public:
  Lines(const Print& print, std::string_view text, const Match& match)
      : print_(print), text_(text), match_(match) {}

  // The written words that begin before byte `end`, from the last one asked for on.
  Span words_until(std::size_t end) {
    const std::size_t first = next_;
    while (next_ < match_.words.size() && match_.words[next_].begin < end) {
      ++next_;
    }
    return {first, next_};
  }

  // What is not printed between two bytes, from its first word to its last, with the signs that
  // touch them; or ticks and arrows without words.
  [[nodiscard]] Piece rest(Span bytes, Span words) const {
    std::size_t first = kNone;
    std::size_t last = kNone;
    for (std::size_t w = words.begin; w < words.end; ++w) {
      if (match_.print[w] == kNone && match_.words[w].begin >= bytes.begin) {
        first = first == kNone ? w : first;
        last = w;
      }
    }
    if (first == kNone) {
      return signs_alone(bytes, words);
    }
    const auto is_space = [&](std::size_t i) { return text_[i] == ' ' || text_[i] == '\r'; };
    std::size_t begin = match_.words[first].begin;
    while (begin > bytes.begin && !is_space(begin - 1) &&
           (first == words.begin || begin > match_.words[first - 1].end)) {
      --begin;
    }
    const bool to_end = last + 1 == words.end;
    std::size_t end = to_end ? bytes.end : match_.words[last].end;
    while (!to_end && end < match_.words[last + 1].begin && !is_space(end)) {
      ++end;
    }
    Piece out = piece_at(text_, begin, end);
    out.amid =
        first > 0 && match_.print[first - 1] != kNone && goes_on_behind(match_.print[first - 1]);
    return out;
  }

 private:
  // Whether a sentence of the print goes on behind one of its words.
  [[nodiscard]] bool goes_on_behind(std::size_t word) const {
    if (word + 1 >= print_.words.size()) {
      return false;
    }
    const std::size_t end = print_.words[word].end;
    const std::string_view between =
        std::string_view(print_.text).substr(end, print_.words[word + 1].begin - end);
    return between.find_first_of(".?!:[]") == std::string_view::npos &&
           std::ranges::count(between, '\n') < 2;
  }

  [[nodiscard]] Piece signs_alone(Span bytes, Span words) const {
    const std::string_view line = text_.substr(bytes.begin, bytes.end - bytes.begin);
    for (std::size_t i = 0; i < line.size();) {
      const utf8::Character c = utf8::decode(line, i);
      if (is_tick(c.code) || is_arrow(c.code)) {
        return piece_at(text_, bytes.begin + i, bytes.begin + i + c.length);
      }
      i += c.length;
    }
    if (words.begin == words.end && !divides(line)) {
      return piece_at(text_, bytes.begin, bytes.end);
    }
    if (words.begin < words.end) {  // an arrow before the line, or behind it
      const std::size_t first = match_.words[words.begin].begin;
      const std::size_t last = match_.words[words.end - 1].end;
      Piece before = piece_at(text_, bytes.begin, std::max(first, bytes.begin));
      Piece behind = piece_at(text_, std::min(last, bytes.end), bytes.end);
      if (before.text.find("->") != std::string::npos ||
          before.text.find("=>") != std::string::npos) {
        return before;
      }
      if (behind.text.find_first_of("<!") != std::string::npos) {
        return behind;
      }
    }
    return {};
  }

  const Print& print_;
  std::string_view text_;
  const Match& match_;
  std::size_t next_ = 0;
};

// ----------------------------------------------------------------- boxes

class BoxReader {
 public:
  BoxReader(const Print& print, std::string_view text)
      : print_(print), text_(text), match_(match(print, text)), lines_(print, text, match_) {}

  Boxes read() {
    for (Span line : lines_in(text_)) {
      const Span words = lines_.words_until(line.end);
      line.begin = std::max(line.begin, done_);
      if (line.begin < line.end) {
        take(line, words);
      }
    }
    flush();
    out_.has_question = match_.has_question(print_);
    drop_what_all_have(&Box::before);
    drop_what_all_have(&Box::after);
    return std::move(out_);
  }

 private:
  // A list's bullets, or what a mail program put at the ends of lines.
  void drop_what_all_have(Box::Beside Box::*side) {
    if (out_.boxes.size() > 1 && std::ranges::all_of(out_.boxes, [&](const Box& b) {
          return (b.*side).signs == (out_.boxes.front().*side).signs;
        })) {
      for (Box& b : out_.boxes) {
        b.*side = {};
      }
    }
  }

  void take(Span line, Span words) {
    std::vector<std::size_t> here;
    for (std::size_t l = 0; l < match_.labels.size(); ++l) {
      const Span& at = match_.labels[l];
      if (at.begin < at.end && at.begin >= words.begin && at.begin < words.end) {
        here.push_back(l);
      }
    }
    if (here.empty()) {
      without_label(line, words);
      return;
    }
    std::size_t from = line.begin;
    for (std::size_t i = 0; i < here.size(); ++i) {
      const Span& label = match_.labels[here[i]];
      const std::size_t begin = match_.words[label.begin].begin;
      from = std::max(from, last_printed_before(label.begin, words.begin));
      std::size_t split = first_box(from, begin);
      Box box;
      box.label = here[i];
      box.begin = begin;
      std::size_t before = from;
      if (i > 0) {  // on one line with the choice before
        if (split == begin && !bare(text_.substr(from, begin - from)).empty()) {
          make_unclear(box, text_.substr(from, begin - from));
        }
        read_after(out_.boxes.back(), from, split, kNone);
        before = split;
      } else if (!signs_of(text_.substr(from, split - from)).words.empty()) {
        out_.pieces.push_back(piece_at(text_, from, split));
        before = split;
      }
      if (i == 0 && bare(text_.substr(line.begin, begin - line.begin)).empty()) {
        before = open_ == kNone ? before : open_;  // its box stands on the line before
      } else {
        flush();
      }
      open_ = kNone;
      read_before(box, before, begin);
      if (shouts(label)) {
        box.before.signs += 'A';
        box.before.points = true;
      }
      out_.boxes.push_back(std::move(box));
      from = match_.words[label.end - 1].end;
    }
    after_last(here.back(), line, words, from);
  }

  // Behind the last label that begins on a line; it may end on a later one.
  void after_last(std::size_t label, Span line, Span words, std::size_t from) {
    const std::size_t end = std::max(line.end, std::min(text_.find('\n', from), text_.size()));
    const Span more = {match_.labels[label].end, std::max(words.end, lines_.words_until(end).end)};
    done_ = end;
    for (std::size_t l = label + 1; l < match_.labels.size(); ++l) {
      const Span& next = match_.labels[l];
      if (next.begin < next.end && next.begin >= more.begin && next.begin < more.end) {
        const std::size_t split = first_box(from, match_.words[next.begin].begin);
        read_after(out_.boxes.back(), from, split, kNone);
        take({split, end}, more);
        return;
      }
    }
    std::size_t printed = more.begin;
    while (printed < more.end && match_.print[printed] == kNone) {
      ++printed;
    }
    if (printed == more.end) {
      read_after(out_.boxes.back(), from, end, kNone);
      return;
    }
    const bool warned = match_.print[printed] == print_.labels[label].end;
    read_after(out_.boxes.back(), from, match_.words[printed].begin, warned ? printed : kNone);
    add(lines_.rest({match_.words[printed].begin, end}, {printed, more.end}));
  }

  // Capitals alone: somebody stressed it.
  [[nodiscard]] bool shouts(Span label) const {
    const std::size_t begin = match_.words[label.begin].begin;
    const std::string_view text = text_.substr(begin, match_.words[label.end - 1].end - begin);
    return text.size() > 1 &&
           std::ranges::none_of(text, [](char c) { return c >= 'a' && c <= 'z'; });
  }

  // The end of the last word of the form, before written word `w` on its line.
  [[nodiscard]] std::size_t last_printed_before(std::size_t w, std::size_t first) const {
    for (std::size_t i = w; i-- > first;) {
      if (match_.print[i] != kNone) {
        return match_.words[i].end;
      }
    }
    return 0;
  }

  [[nodiscard]] std::size_t first_box(std::size_t from, std::size_t end) const {
    for (std::size_t i = from; i < end;) {
      const utf8::Character c = utf8::decode(text_, i);
      if (begins_box(c.code)) {
        return i;
      }
      i += c.length;
    }
    return end;
  }

  void without_label(Span line, Span words) {
    const std::string_view text = text_.substr(line.begin, line.end - line.begin);
    if (bare(text).empty()) {
      return;
    }
    flush();
    const std::size_t box = first_box(line.begin, line.end);
    const std::size_t behind = behind_box(box, line);
    const Piece piece = lines_.rest(line, words);
    if (behind == kNone) {
      add(piece);
      return;
    }
    const std::string_view label = bare(text_.substr(behind, line.end - behind));
    if (label.empty()) {
      open_ = line.begin;
      open_end_ = line.end;
      return;
    }
    if (piece.text.empty()) {
      return;  // the form's own brackets
    }
    Box& out = out_.boxes.emplace_back();
    out.begin = box;
    out.label_text = label;
    read_before(out, line.begin, behind);
  }

  // The end of the box that a line begins with, or kNone.
  [[nodiscard]] std::size_t behind_box(std::size_t box, Span line) const {
    if (box == line.end || !signs_of(text_.substr(line.begin, box - line.begin)).words.empty()) {
      return kNone;
    }
    const bool round = text_[box] == '(';
    if (!round && text_[box] != '[') {
      return box + utf8::decode(text_, box).length;
    }
    const std::size_t close = text_.find(round ? ')' : ']', box);
    if (close >= line.end) {
      return kNone;
    }
    const std::string_view inside = text_.substr(box + 1, close - box - 1);
    return round && !signs_of(inside).all.empty() && !is_mark(inside) ? kNone : close + 1;
  }

  // A box whose label is not on the next line either.
  void flush() {
    if (open_ == kNone) {
      return;
    }
    Box out;
    out.begin = piece_at(text_, open_, open_end_).begin;
    read_before(out, open_, open_end_);
    if (out.state != Box::State::blank || !out.before.signs.empty()) {
      out_.boxes.push_back(std::move(out));
    }
    open_ = kNone;
  }

  void add(Piece piece) {
    if (!piece.text.empty()) {
      out_.pieces.push_back(std::move(piece));
    }
  }

  static void read_signs(Box& box, Box::Beside& side, const Signs& signs) {
    if (signs.tick) {
      if (box.state == Box::State::blank) {
        box.state = Box::State::marked;
        box.mark = signs.mark;
      }
      return;
    }
    side = {signs.all, signs.points, signs.odd};
  }

  void read_before(Box& box, std::size_t from, std::size_t to) {
    const std::string_view zone = text_.substr(from, to - from);
    const Span inside = brackets_in(zone);
    const std::string_view marks = zone.substr(inside.begin, inside.end - inside.begin);
    const std::string outside =
        std::string(zone.substr(0, inside.begin)) + ' ' + std::string(zone.substr(inside.end));
    const Signs in = signs_of(marks);
    const Signs out = signs_of(outside);
    box.framed = first_box(from, to) < to || zone.find(']') != std::string_view::npos;
    if (!out.words.empty()) {
      make_unclear(box, outside);
    } else if (is_mark(marks)) {
      box.state = box.state == Box::State::blank ? Box::State::marked : box.state;
      box.mark = in.mark;
    } else if (!in.all.empty() || !in.words.empty()) {
      make_unclear(box, marks);
    }
    const Piece whole = piece_at(text_, from, to);
    box.begin = whole.text.empty() ? box.begin : whole.begin;
    read_signs(box, box.before, out);
  }

  static void make_unclear(Box& box, std::string_view why) {
    box.state = Box::State::unclear;
    box.inside = bare(why);
  }

  // What stands between the brackets; one of the two may be lost. Nothing, where there are none.
  static Span brackets_in(std::string_view zone) {
    constexpr std::size_t npos = std::string_view::npos;
    std::size_t open = zone.rfind('[');
    std::size_t close = zone.rfind(']');
    if (open == npos && close == npos) {
      open = zone.rfind('(');
      close = open == npos ? npos : zone.find(')', open);
      if (open == npos) {
        return {0, 0};
      }
    }
    if (open == npos) {
      return {0, close};
    }
    return {open + 1, close == npos || close < open ? zone.size() : close};
  }

  // `warning`: the printed word that follows, with the sign that stands before it.
  void read_after(Box& box, std::size_t from, std::size_t to, std::size_t warning) {
    std::string zone(text_.substr(from, to - from));
    if (warning != kNone) {
      const std::size_t sign = zone.rfind('!');
      if (sign != std::string::npos) {
        zone[sign] = ' ';
      }
    }
    const Signs signs = signs_of(zone);
    if (!signs.words.empty() || signs.all.find('1') != std::string::npos ||
        signs.all.find('a') != std::string::npos) {
      box.words = piece_at(text_, std::min(text_.find_first_not_of(",;:. ", from), to), to);
      return;
    }
    read_signs(box, box.after, signs);
  }

  const Print& print_;
  std::string_view text_;
  Match match_;
  Lines lines_;
  Boxes out_;
  std::size_t done_ = 0;
  std::size_t open_ = kNone;  // a line with a box alone
  std::size_t open_end_ = 0;
};

}  // namespace

std::vector<Word> words_of(std::string_view text) {
  std::vector<Word> out;
  bool inside = false;
  for (std::size_t i = 0; i < text.size();) {
    const utf8::Character c = utf8::decode(text, i);
    if (is_letter(c.code)) {
      if (!inside) {
        out.push_back({i, i, {}});
      }
      inside = true;
      out.back().end = i + c.length;
      if (c.code < 0x80) {
        const char small = text[i];
        out.back().plain +=
            small >= 'A' && small <= 'Z' ? static_cast<char>(small - 'A' + 'a') : small;
      } else {
        out.back().plain += text.substr(i, c.length);
      }
    } else if (c.code != 0xAD && (c.code < 0x200B || c.code > 0x200D) && c.code != 0x2060 &&
               c.code != 0xFEFF) {
      inside = false;  // what is not seen joins
    }
    i += c.length;
  }
  return out;
}

std::string as_key(std::string_view text) {
  std::string out;
  for (const Word& w : words_of(text)) {
    out += (out.empty() ? "" : "-") + w.plain;
  }
  return out;
}

Print::Print(std::string printed, const std::vector<std::string>& label_texts)
    : text(std::move(printed)), words(words_of(text)) {
  constexpr std::string_view kBox = "[ ]";
  std::size_t at = 0;
  for (const std::string& label : label_texts) {
    const std::size_t box = text.find(kBox, at);
    at = box == std::string::npos ? text.find(label, at) : box + kBox.size();
    const auto first = std::ranges::find_if(words, [&](const Word& w) { return w.begin >= at; });
    const auto begin = static_cast<std::size_t>(first - words.begin());
    labels.push_back({begin, begin + words_of(label).size()});
  }
}

std::size_t Match::left_over() const {
  return static_cast<std::size_t>(std::ranges::count(print, kNone));
}

bool Match::has_question(const Print& form) const {
  return std::ranges::any_of(
      print, [&](std::size_t p) { return p != kNone && p < form.labels.front().first; });
}

Match match(const Print& print, std::string_view written) {
  Match out;
  out.words = words_of(written);
  Aligner(print, written, out).run();
  return out;
}

bool is_mark(std::string_view text) {
  const Signs signs = signs_of(text);
  const bool star = std::ranges::all_of(signs.all, [](char c) { return c == '*' || c == '+'; });
  return signs.words.empty() && !signs.all.empty() &&
         (signs.tick ? !signs.odd && !signs.points : star || signs.all == "\u2022");
}

Boxes boxes_in(const Print& print, std::string_view written) {
  return BoxReader(print, written).read();
}

std::vector<Piece> pieces_in(const Print& print, std::string_view written) {
  const Match found = match(print, written);
  Lines lines(print, written, found);
  std::vector<Piece> out;
  for (const Span& line : lines_in(written)) {
    Piece piece = lines.rest(line, lines.words_until(line.end));
    if (!piece.text.empty()) {
      out.push_back(std::move(piece));
    }
  }
  return out;
}

namespace {

// The words of "Answer:", also where a letter of it was lost or spoilt; empty: it is not there.
Span answer_label(const Print& print, std::string_view written, Match& found) {
  const auto begins_line = [&](std::size_t w) {
    const std::size_t before = w == 0 ? 0 : found.words[w - 1].end;
    return w == 0 || written.substr(before, found.words[w].begin - before).find('\n') !=
                         std::string_view::npos;
  };
  const Span label = found.labels.front();
  if (label.begin < label.end) {
    if (written.substr(found.words[label.begin].end).starts_with(':') || begins_line(label.begin)) {
      return label;
    }
    found.print[label.begin] = kNone;  // a word of the answer
  }
  const std::string& plain = print.words[print.labels.front().first].plain;
  constexpr std::size_t kMostParts = 3;
  for (std::size_t w = 0; w < found.words.size(); ++w) {
    std::string joined;
    for (std::size_t end = w;
         end < std::min(w + kMostParts, found.words.size()) && begins_line(w) &&
         found.print[end] == kNone && (end == w || !begins_line(end));
         ++end) {
      joined += found.words[end].plain;
      if (!closest(joined, {plain}).empty()) {
        return {w, end + 1};
      }
    }
  }
  return {};
}

}  // namespace

Typed typed_in(const Print& print, std::string_view written) {
  Match found = match(print, written);
  Lines lines(print, written, found);
  Typed out;
  const Span label = answer_label(print, written, found);
  out.has_question = found.has_question(print);
  out.has_label = label.begin < label.end;
  for (const Span& line : lines_in(written)) {
    const Span words = lines.words_until(line.end);
    if (out.has_label && label.begin < words.begin) {
      if (!lines.rest(line, words).text.empty()) {
        out.answer.push_back(piece_at(written, line.begin, line.end));  // a line keeps its signs
      }
      continue;
    }
    const bool here = out.has_label && label.begin < words.end;
    Piece head = lines.rest({line.begin, here ? found.words[label.begin].begin : line.end},
                            {words.begin, here ? label.begin : words.end});
    if (!head.text.empty()) {
      for (std::size_t w = words.begin; w < words.end; ++w) {
        head.beside = head.beside || found.print[w] != kNone;
      }
      out.before.push_back(std::move(head));
    }
    if (!here) {
      continue;
    }
    std::size_t from = found.words[label.end - 1].end;
    constexpr std::string_view kColons[] = {":", ";", ".", ",", " ", "\xE2\x80\x99"};
    const auto colon = [&] {
      return std::ranges::find_if(kColons, [&](std::string_view sign) {
        return written.substr(from, line.end - from).starts_with(sign);
      });
    };
    for (auto sign = colon(); sign != std::end(kColons); sign = colon()) {
      from += sign->size();
    }
    std::size_t end = label.end;  // whatever stands behind it, a sign alone too
    while (end < words.end && found.print[end] == kNone) {
      ++end;
    }
    const std::size_t until = end < words.end ? found.words[end].begin : line.end;
    if (until > from) {
      out.answer.push_back(piece_at(written, from, until));
    }
  }
  return out;
}

}  // namespace dryshaft::form

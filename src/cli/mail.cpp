#include "cli/mail.hpp"

#include <fmt/format.h>
#include <gmime/gmime.h>

#include <algorithm>
#include <array>
#include <memory>
#include <optional>
#include <utility>

#include "base/places.hpp"
#include "base/utf8.hpp"
#include "cli/page_text.hpp"

namespace dryshaft::cli {
namespace {

constexpr int kDeepest = 20;                                // parts in parts, mails in mails
constexpr std::size_t kMostParts = 500;                     // of one mail
constexpr std::size_t kMostBytes = std::size_t{16} << 20U;  // of one part, decoded

template <typename Object>
struct Unref {
  void operator()(Object* object) const { g_object_unref(object); }
};
template <typename Object>
using Owned = std::unique_ptr<Object, Unref<Object>>;

struct FreeOptions {
  void operator()(GMimeParserOptions* options) const { g_mime_parser_options_free(options); }
};
struct FreeText {
  void operator()(char* text) const { g_free(text); }
};

// Once, and to the end of the program: it does not begin well a second time.
void begin_mime() {
  static const bool begun = [] {
    g_mime_init();
    return true;
  }();
  (void)begun;
}

std::string text_of(const char* text) { return text == nullptr ? std::string() : text; }

std::string_view without_mark(std::string_view text) {
  return text.starts_with(utf8::kByteOrderMark) ? text.substr(utf8::kByteOrderMark.size()) : text;
}

// ------------------------------------------------------------ characters

std::optional<std::string> converted(const std::string& bytes, const std::string& from) {
  gsize written = 0;
  const std::unique_ptr<char, FreeText> text(g_convert(bytes.data(),
                                                       static_cast<gssize>(bytes.size()), "UTF-8",
                                                       from.c_str(), nullptr, &written, nullptr));
  return text == nullptr ? std::nullopt : std::optional(std::string(text.get(), written));
}

// Mails that name ISO-8859-1, or nothing, hold what Windows writes.
std::string to_utf8(std::string bytes, const std::string& named) {
  const std::string charset = small(named);
  const bool valid = utf8::first_invalid(bytes) == bytes.size();
  const bool unsaid = charset.empty() || charset == "us-ascii" || charset == "utf-8" ||
                      charset == "utf8" || charset == "ascii";
  const bool latin = charset == "iso-8859-1" || charset == "latin1" || charset == "windows-1252";
  if (unsaid && valid) {
    return bytes;
  }
  if (!unsaid && !latin) {
    if (std::optional<std::string> text = converted(bytes, charset)) {
      return *text;
    }
    if (valid) {
      return bytes;
    }
  }
  if (charset == "utf-8" || charset == "utf8") {
    return bytes;  // it is damaged: the reader says where
  }
  for (const char* one : {"WINDOWS-1252", "ISO-8859-1"}) {
    if (std::optional<std::string> text = converted(bytes, one)) {
      return *text;
    }
  }
  return bytes;
}

// What a page says of itself: <meta charset="...">.
std::string charset_named_in(std::string_view page) {
  constexpr std::size_t kHead = 4096;
  const std::string head = small(page.substr(0, kHead));
  const std::size_t at = head.find("charset=");
  if (at == std::string::npos) {
    return {};
  }
  const std::size_t begin = head.find_first_not_of("\"' ", at + 8);
  const std::size_t end = std::min(head.find_first_of("\"' ;/>", begin), head.size());
  return begin < end ? head.substr(begin, end - begin) : std::string();
}

// ------------------------------------------------------ quoted-printable

int hex(char c) {
  return c >= '0' && c <= '9' ? c - '0' : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

// Whether a text without a mail's head was encoded for mail: every "=" is a sign of that, and some
// can be nothing else.
bool is_quoted_printable(std::string_view text) {
  std::size_t sure = 0;
  for (std::size_t at = text.find('='); at != std::string_view::npos; at = text.find('=', at + 1)) {
    const std::string_view behind = text.substr(at + 1, 2);
    if (behind.starts_with('\n') || behind.starts_with("\r\n")) {
      sure += at > 0 && text[at - 1] != '=' ? 1 : 0;
    } else if (behind.size() < 2 || hex(behind[0]) < 0 || hex(behind[1]) < 0) {
      return false;
    } else {
      const int value = hex(behind[0]) * 16 + hex(behind[1]);
      if (value < ' ' && value != '\t' && value != '\n' && value != '\r') {
        return false;
      }
      sure += value == '=' || value == ' ' || value >= 0x80 ? 1 : 0;
    }
  }
  return sure > 1;
}

std::string from_quoted_printable(const std::string& text) {
  GMimeEncoding state;
  g_mime_encoding_init_decode(&state, GMIME_CONTENT_ENCODING_QUOTEDPRINTABLE);
  std::string out(g_mime_encoding_outlen(&state, text.size()) + 1, '\0');
  out.resize(g_mime_encoding_flush(&state, text.data(), text.size(), out.data()));
  return out;
}

// The line that begins at `at`, without its end; `at` goes on to the next.
std::string_view line_from(std::string_view text, std::size_t& at) {
  const std::size_t end = std::min(text.find('\n', at), text.size());
  std::string_view line = text.substr(at, end - at);
  at = end + 1;
  if (line.ends_with('\r')) {
    line.remove_suffix(1);
  }
  return line;
}

// ---------------------------------------------------------- format=flowed

// Lines that a mail program broke are whole again (RFC 3676), for a record's strings: those of a
// form are found however they are broken.
std::string unflowed(std::string_view text, bool delete_space) {
  std::string out;
  std::size_t joined_depth = std::string_view::npos;  // quoting of the line that goes on
  for (std::size_t at = 0; at < text.size();) {
    const std::string_view line = line_from(text, at);
    const std::size_t depth = std::min(line.find_first_not_of('>'), line.size());
    std::string_view words = line.substr(depth);
    if (words.starts_with(' ')) {
      words.remove_prefix(1);
    }
    if (joined_depth != depth) {
      out += joined_depth == std::string_view::npos ? "" : "\n";
      out += std::string(depth, '>') + (depth > 0 ? " " : "");
    }
    const bool goes_on = words.ends_with(' ') && words != "-- ";
    if (goes_on && delete_space) {
      words.remove_suffix(1);
    }
    out += words;
    out += goes_on ? "" : "\n";
    joined_depth = goes_on ? depth : std::string_view::npos;
  }
  return out;
}

// ------------------------------------------------------------------ mails

// A mail begins with lines "Name: value", one of which people do not write themselves.
bool is_mail(std::string_view text) {
  static constexpr std::array<std::string_view, 8> kSure = {
      "mime-version",   "content-type", "content-transfer-encoding",
      "message-id",     "received",     "return-path",
      "dkim-signature", "delivered-to"};
  bool sure = false;
  bool first = true;
  for (std::size_t at = 0; at < text.size();) {
    const std::string_view line = line_from(text, at);
    if (line.empty()) {
      break;
    }
    const std::size_t colon = line.find(':');
    const bool goes_on = !first && (line.front() == ' ' || line.front() == '\t');
    const bool named =
        colon != std::string_view::npos && colon > 0 &&
        std::ranges::all_of(line.substr(0, colon), [](char c) { return c > ' ' && c < 0x7F; });
    if (!goes_on && !named) {
      return false;
    }
    const std::string name = small(line.substr(0, named ? colon : 0));
    sure = sure || (!goes_on && std::ranges::find(kSure, name) != kSure.end());
    first = false;
  }
  return sure;
}

// The mails of a mailbox (mbox), each behind a line "From ..."; none, where it is no mailbox. Some
// programs write such a line of a mail's own text as it stands, so a mail's head has to follow.
std::vector<std::string_view> mails_of_mailbox(std::string_view text) {
  std::vector<std::string_view> out;
  std::size_t begin = std::string_view::npos;
  bool after_blank = true;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    const std::string_view line = text.substr(at, end - at);
    const std::size_t next = std::min(end + 1, text.size());
    if (after_blank && line.starts_with("From ") && is_mail(text.substr(next))) {
      if (begin != std::string_view::npos) {
        out.push_back(text.substr(begin, at - begin));
      }
      begin = next;
    } else if (begin == std::string_view::npos) {
      return {};
    }
    after_blank = line.empty() || line == "\r";
    at = next;
  }
  if (begin != std::string_view::npos) {
    out.push_back(text.substr(begin));
  }
  return out;
}

class MailReader {
 public:
  MailReader(std::string_view text, std::string source) : text_(text), source_(std::move(source)) {}

  Sent take(GMimeMessage* message) {
    walk_message(message, 0);
    if (out_.texts.empty()) {
      out_.texts.push_back({source_, {}, 0});
    }
    return std::move(out_);
  }

  // What the parser thinks of the mail as a whole.
  void warn(gint64 offset, GMimeParserWarning what) {
    if (what == GMIME_WARN_TRUNCATED_MESSAGE || what == GMIME_WARN_MALFORMED_MULTIPART ||
        what == GMIME_CRIT_MULTIPART_WITHOUT_BOUNDARY) {
      complain(offset, "cut-short", "lacks the end of its parts: some of it may be lost",
               "ask for it once more");
    } else if (what == GMIME_CRIT_NESTING_OVERFLOW) {
      complain_of_depth(offset);
    }
  }

 private:
  void complain(gint64 offset, std::string_view code, std::string message, std::string_view hint) {
    if (std::ranges::any_of(out_.complaints, [&](const Diagnostic& d) { return d.code == code; })) {
      return;
    }
    const auto at = std::min(static_cast<std::size_t>(std::max<gint64>(offset, 0)), text_.size());
    Diagnostic d = Places(text_, {source_, 1, 1}).complaint(at, code, std::move(message));
    d.hint = hint;
    out_.complaints.push_back(std::move(d));
  }
  void complain_of_depth(gint64 offset) {
    complain(offset, "too-deep",
             fmt::format("holds parts in parts, more than {} deep, which are not read", kDeepest),
             "save what is in it as a file of its own");
  }

  void walk_message(GMimeMessage* message, int depth) {
    GMimeObject* part = message == nullptr ? nullptr : g_mime_message_get_mime_part(message);
    if (part != nullptr) {
      walk(part, depth, 0);
    }
  }

  // `version`: what the text is one of several versions of; 0: of nothing.
  void walk(GMimeObject* part, int depth, std::size_t version) {
    if (depth > kDeepest) {
      complain_of_depth(0);
      return;
    }
    if (GMIME_IS_MULTIPART(part)) {
      GMimeMultipart* parts = GMIME_MULTIPART(part);
      const bool versions = g_mime_content_type_is_type(g_mime_object_get_content_type(part),
                                                        "multipart", "alternative");
      const std::size_t inner = versions ? ++versions_ : version;
      for (int i = 0; i < g_mime_multipart_get_count(parts); ++i) {
        walk(g_mime_multipart_get_part(parts, i), depth + 1, inner);
      }
    } else if (GMIME_IS_MESSAGE_PART(part)) {
      walk_message(g_mime_message_part_get_message(GMIME_MESSAGE_PART(part)), depth + 1);
    } else if (GMIME_IS_PART(part)) {
      leaf(GMIME_PART(part), depth, version);
    }
  }

  void leaf(GMimePart* part, int depth, std::size_t version) {
    if (++count_ > kMostParts) {
      complain(0, "too-many",
               fmt::format("holds more than {} parts, which are not all read", kMostParts),
               "save what is in it as files of their own");
      return;
    }
    GMimeContentType* type = g_mime_object_get_content_type(GMIME_OBJECT(part));
    const std::string whole = small(text_of(g_mime_content_type_get_media_type(type))) + '/' +
                              small(text_of(g_mime_content_type_get_media_subtype(type)));
    std::string file = text_of(g_mime_part_get_filename(part));
    const std::string name = name_of(whole, file);
    if (!is_text(whole, file)) {
      pass_over(name, whole);
      return;
    }
    std::string bytes = content_of(part);
    if (bytes.size() > kMostBytes) {
      complain_of_part(
          name, "too-large",
          fmt::format("holds more than {} MiB, the most that a part of a mail may hold",
                      kMostBytes >> 20U));
      return;
    }
    if (is_mail(without_mark(bytes))) {
      walk_attached(bytes, depth);
      return;
    }
    // What was attached says more than the mail does, not the same otherwise.
    out_.texts.push_back(
        {name, as_text(std::move(bytes), type, whole), file.empty() ? version : 0});
  }

  static std::string as_text(std::string bytes, GMimeContentType* type, const std::string& whole) {
    std::string charset = text_of(g_mime_content_type_get_parameter(type, "charset"));
    const bool page = whole == "text/html" || whole == "application/xhtml+xml" || is_page(bytes);
    if (charset.empty() && page) {
      charset = charset_named_in(bytes);
    }
    std::string text = to_utf8(std::move(bytes), charset);
    if (page) {
      return page_text(std::move(text)).text;
    }
    const bool flowed =
        small(text_of(g_mime_content_type_get_parameter(type, "format"))) == "flowed";
    const bool record = text.find(kRecordFormat) != std::string::npos;
    return flowed && record
               ? unflowed(text,
                          small(text_of(g_mime_content_type_get_parameter(type, "delsp"))) == "yes")
               : text;
  }

  static std::string content_of(GMimePart* part) {
    GMimeDataWrapper* content = g_mime_part_get_content(part);
    if (content == nullptr) {
      return {};
    }
    const Owned<GMimeStream> memory(g_mime_stream_mem_new());
    g_mime_data_wrapper_write_to_stream(content, memory.get());
    GByteArray* bytes = g_mime_stream_mem_get_byte_array(GMIME_STREAM_MEM(memory.get()));
    return bytes == nullptr || bytes->data == nullptr
               ? std::string()
               : std::string(reinterpret_cast<const char*>(bytes->data), bytes->len);
  }

  // A mail that was attached as a file.
  void walk_attached(const std::string& bytes, int depth) {
    const Owned<GMimeStream> stream(g_mime_stream_mem_new_with_buffer(bytes.data(), bytes.size()));
    const Owned<GMimeParser> parser(g_mime_parser_new_with_stream(stream.get()));
    const Owned<GMimeMessage> message(g_mime_parser_construct_message(parser.get(), nullptr));
    walk_message(message.get(), depth + 1);
  }

  [[nodiscard]] std::string name_of(const std::string& whole, std::string& file) const {
    constexpr std::size_t kShown = 60;
    std::ranges::replace(file, '/', '_');
    const std::string_view kind = whole == "text/plain"  ? "text"
                                  : whole == "text/html" ? "HTML"
                                                         : std::string_view();
    return source_ + (!file.empty()
                          ? fmt::format(", part {} \"{}\"", count_, utf8::harmless(file, kShown))
                      : kind.empty() ? fmt::format(", part {}", count_)
                                     : fmt::format(", part {} ({})", count_, kind));
  }

  static bool is_text(const std::string& whole, const std::string& file) {
    static constexpr std::array<std::string_view, 8> kNoForms = {
        "text/calendar", "text/vcard", "text/x-vcard",   "text/rtf",
        "text/css",      "text/csv",   "text/directory", "text/richtext"};
    static constexpr std::array<std::string_view, 4> kTexts = {
        "application/json", "application/x-ndjson", "application/jsonl", "application/xhtml+xml"};
    static constexpr std::array<std::string_view, 7> kEndings = {
        ".txt", ".json", ".jsonl", ".html", ".htm", ".xhtml", ".eml"};
    const std::string name = small(file);
    const bool pictured =
        whole.starts_with("image/") || whole.starts_with("audio/") || whole.starts_with("video/");
    return (whole.starts_with("text/") && std::ranges::find(kNoForms, whole) == kNoForms.end()) ||
           std::ranges::find(kTexts, whole) != kTexts.end() ||
           (!pictured && std::ranges::any_of(kEndings, [&](auto e) { return name.ends_with(e); }));
  }

  // Signatures are no forms. A picture may be one, but mostly is none.
  void pass_over(const std::string& name, const std::string& whole) {
    if (whole.ends_with("-signature") || whole == "application/pgp-keys") {
      return;
    }
    Diagnostic d;
    d.severity = Severity::warning;
    d.code = "not-read";
    d.source = name;
    d.message = fmt::format("is not read: it is of the kind {}", utf8::harmless(whole, 60));
    d.hint = "if the form is in it, ask for it as text, or as the file that its page saved";
    const bool may_be_form = !whole.starts_with("image/") && !whole.starts_with("audio/") &&
                             !whole.starts_with("video/") && whole != "text/calendar" &&
                             !whole.ends_with("vcard");
    (may_be_form ? out_.complaints : out_.unread).push_back(std::move(d));
  }

  void complain_of_part(const std::string& name, std::string_view code, std::string message) {
    Diagnostic d;
    d.code = code;
    d.source = name;
    d.message = std::move(message);
    out_.complaints.push_back(std::move(d));
  }

  std::string_view text_;
  std::string source_;
  Sent out_;
  std::size_t count_ = 0;
  std::size_t versions_ = 0;
};

extern "C" void take_warning(gint64 offset, GMimeParserWarning what, const gchar* /*item*/,
                             gpointer reader) {
  static_cast<MailReader*>(reader)->warn(offset, what);
}

Sent mail_in(std::string_view text, const std::string& source) {
  const Owned<GMimeStream> stream(g_mime_stream_mem_new_with_buffer(text.data(), text.size()));
  const Owned<GMimeParser> parser(g_mime_parser_new_with_stream(stream.get()));
  MailReader reader(text, source);
  const std::unique_ptr<GMimeParserOptions, FreeOptions> options(g_mime_parser_options_new());
  g_mime_parser_options_set_warning_callback(options.get(), take_warning, &reader);
  const Owned<GMimeMessage> message(g_mime_parser_construct_message(parser.get(), options.get()));
  return reader.take(message.get());
}

}  // namespace

std::vector<Sent> sent_in(std::string bytes, std::string_view source) {
  const std::string name(source);
  const std::string_view text = without_mark(bytes);
  if (const std::vector<std::string_view> mails = mails_of_mailbox(text); !mails.empty()) {
    begin_mime();
    std::vector<Sent> out;
    out.reserve(mails.size());
    for (const std::string_view mail : mails) {
      out.push_back(mail_in(mail, fmt::format("{}, mail {}", name, out.size() + 1)));
    }
    return out;
  }
  if (is_mail(text)) {
    begin_mime();
    return {mail_in(text, name)};
  }
  if (is_quoted_printable(bytes)) {
    bytes = from_quoted_printable(bytes);
  }
  if (!is_page(bytes)) {
    return {Sent{{SentText{name, std::move(bytes), 0}}, {}, {}}};
  }
  const std::string charset = charset_named_in(bytes);
  PageText page = page_text(to_utf8(std::move(bytes), charset));
  return {Sent{
      {SentText{page.has_records_element ? name : name + ", as text", std::move(page.text), 0}},
      {},
      {}}};
}

}  // namespace dryshaft::cli

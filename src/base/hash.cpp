#include "base/hash.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <fstream>
#include <variant>
#include <vector>

#include <sodium.h>

#include "base/detail/sha256_blocks.hpp"

namespace backeddy {

namespace {

std::string hex_of(std::span<const unsigned char> digest) {
    std::array<char, (crypto_hash_sha256_BYTES * 2) + 1> text{};
    sodium_bin2hex(text.data(), text.size(), digest.data(), digest.size());
    return text.data();
}

class PortableSha256 {
  public:
    PortableSha256() { crypto_hash_sha256_init(&state_); }
    void add(std::span<const unsigned char> bytes) {
        crypto_hash_sha256_update(&state_, bytes.data(), bytes.size());
    }
    std::string hex() {
        std::array<unsigned char, crypto_hash_sha256_BYTES> digest{};
        crypto_hash_sha256_final(&state_, digest.data());
        return hex_of(digest);
    }

  private:
    crypto_hash_sha256_state state_{};
};

// FIPS 180-4, sections 5.1.1 (padding), 5.3.3 (the state to begin with) and 6.2.
class InstructionSha256 {
  public:
    void add(std::span<const unsigned char> bytes) {
        total_ += bytes.size();
        if (held_ > 0) {
            const std::size_t part = std::min(bytes.size(), block_.size() - held_);
            std::copy_n(bytes.begin(), part, block_.begin() + static_cast<std::ptrdiff_t>(held_));
            held_ += part;
            bytes = bytes.subspan(part);
            if (held_ < block_.size()) {
                return;
            }
            detail::sha256_blocks(state_, block_.data(), 1);
            held_ = 0;
        }
        const std::size_t whole = bytes.size() / block_.size();
        detail::sha256_blocks(state_, bytes.data(), whole);
        const auto rest = bytes.subspan(whole * block_.size());
        std::copy(rest.begin(), rest.end(), block_.begin());
        held_ = rest.size();
    }
    std::string hex() {
        const std::uint64_t bits = total_ * 8;
        std::array<unsigned char, 72> padding{0x80};
        const std::size_t zeros = (held_ < 56 ? 56 : 120) - held_;
        for (std::size_t i = 0; i < 8; ++i) {
            padding[zeros + i] = static_cast<unsigned char>(bits >> (56 - (8 * i)));
        }
        add(std::span(padding).first(zeros + 8));
        std::array<unsigned char, crypto_hash_sha256_BYTES> digest{};
        for (std::size_t i = 0; i < digest.size(); ++i) {
            digest[i] = static_cast<unsigned char>(state_[i / 4] >> (24 - (8 * (i % 4))));
        }
        return hex_of(digest);
    }

  private:
    detail::Sha256State state_{0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                               0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
    std::array<unsigned char, 64> block_{};
    std::size_t held_ = 0;
    std::uint64_t total_ = 0;
};

class Sha256 {
  public:
    Sha256() {
        if (detail::has_sha256_instructions()) {
            hash_.emplace<InstructionSha256>();
        }
    }
    void add(std::span<const unsigned char> bytes) {
        std::visit([&](auto& hash) { hash.add(bytes); }, hash_);
    }
    std::string hex() {
        return std::visit([](auto& hash) { return hash.hex(); }, hash_);
    }

  private:
    std::variant<PortableSha256, InstructionSha256> hash_;
};

std::span<const unsigned char> unsigned_bytes(const void* bytes, std::size_t count) {
    return {static_cast<const unsigned char*>(bytes), count};
}

} // namespace

std::string sha256_hex(std::span<const std::byte> bytes) {
    Sha256 hash;
    hash.add(unsigned_bytes(bytes.data(), bytes.size()));
    return hash.hex();
}

std::string detail::portable_sha256_hex(std::span<const std::byte> bytes) {
    PortableSha256 hash;
    hash.add(unsigned_bytes(bytes.data(), bytes.size()));
    return hash.hex();
}

std::string sha256_hex(std::string_view text) {
    return sha256_hex(std::as_bytes(std::span(text.data(), text.size())));
}

Expected<std::string> sha256_of_file(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    if (!file) {
        return fail(
            {.code = std::filesystem::exists(path) ? ErrorCode::file_unreadable : ErrorCode::file_missing,
             .found = "cannot open the file",
             .expected = "a file that this user may read",
             .remedy = "check its name and its permissions",
             .place = {.file = path.string()}});
    }
    Sha256 hash;
    std::vector<char> block(1 << 20);
    while (file) {
        file.read(block.data(), static_cast<std::streamsize>(block.size()));
        hash.add(unsigned_bytes(block.data(), static_cast<std::size_t>(file.gcount())));
    }
    if (file.bad()) {
        return fail({.code = ErrorCode::file_unreadable,
                     .found = "reading stopped before the end of the file",
                     .expected = "a readable disk",
                     .remedy = "copy the file from its source again",
                     .place = {.file = path.string()}});
    }
    return hash.hex();
}

} // namespace backeddy

#pragma once
// Appended files that write down what is asked of them, as recording_layer.hpp does for SQLite's: they can be
// full or fail, and what was written down is replayed by its CutDisk.

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "store/append_file.hpp"
#include "store/recording_layer.hpp"

namespace backeddy::store::test {

class RecordingFiles : public FileLayer {
  public:
    std::vector<Operation> operations;
    std::optional<std::uint64_t> room;       ///< bytes that may still be written; a write over it is cut off
    std::optional<std::uint64_t> syncs_left; ///< then every sync fails until this is set anew
    bool sync_does_nothing = false;          ///< the disk lies

    Expected<std::unique_ptr<AppendFile>> create(const std::filesystem::path& path) override {
        auto below = below_->create(path);
        if (!below) {
            return fail(std::move(below).error());
        }
        operations.push_back({.kind = Operation::Kind::make, .file = path.filename().string()});
        return std::make_unique<File>(*this, path.filename().string(), std::move(*below));
    }

    void remove(const std::filesystem::path& path) override {
        operations.push_back({.kind = Operation::Kind::remove, .file = path.filename().string()});
        below_->remove(path);
    }

  private:
    static Error refused(const char* found) {
        return {
            .code = ErrorCode::cannot_write, .found = found, .remedy = "try again", .place = {.file = "it"}};
    }

    class File : public AppendFile {
      public:
        File(RecordingFiles& all, std::string name, std::unique_ptr<AppendFile> below)
            : all_(all), name_(std::move(name)), below_(std::move(below)) {}

        Expected<void> append(std::string_view bytes) override {
            const bool fits = !all_.room || *all_.room >= bytes.size();
            const auto part = fits ? bytes : bytes.substr(0, *all_.room);
            if (all_.room) {
                *all_.room -= part.size();
            }
            all_.operations.push_back(
                {.kind = Operation::Kind::write, .file = name_, .at = at_, .bytes = std::string(part)});
            at_ += part.size();
            auto written = below_->append(part);
            return fits ? written : fail(refused("the disk is full"));
        }

        Expected<void> sync() override {
            if (all_.syncs_left && (*all_.syncs_left)-- == 0) {
                all_.syncs_left = 0;
                return fail(refused("the disk failed"));
            }
            if (!all_.sync_does_nothing) {
                all_.operations.push_back({.kind = Operation::Kind::sync, .file = name_, .folder_too = true});
            }
            return {};
        }

      private:
        RecordingFiles& all_;
        std::string name_;
        std::unique_ptr<AppendFile> below_;
        std::uint64_t at_ = 0;
    };

    std::shared_ptr<FileLayer> below_ = machine_files();
};

} // namespace backeddy::store::test

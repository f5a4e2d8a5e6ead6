"""Zip archives (workbooks, 3MF) opened with a bound on what they may expand to.

The archive's bytes come in; its members' bytes go out, or a refusal before memory is spent.
"""

from __future__ import annotations

import io
import zipfile
import zlib

from portgeo.core.errors import InputError

RATIO = 100  # times its own size an archive may expand to; real workbooks and 3MF files stay under 30
ALLOWANCE = 1_000_000  # bytes that any archive, however small, may expand to
MEMBERS = 2000
DECLARED = tuple(
    word.encode(coding) for word in ("<!DOCTYPE", "<!ENTITY") for coding in ("ascii", "utf-16-le", "utf-16-be")
)


def members(data: bytes, file: str, kind: str, limit: int) -> dict[str, bytes]:
    """Return the members of a zip archive, name to bytes.

    kind : what the file should be, for messages ("an XLSX workbook"). limit : bytes they may expand
    to in all. Raises InputError where the archive is broken, encrypted, expands past the limit
    (declared or in fact), or has XML with a document type (which none of ours has a use for).
    """
    allowed = min(limit, RATIO * len(data) + ALLOWANCE)
    found: dict[str, bytes] = {}
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
            if len(infos) > MEMBERS or sum(info.file_size for info in infos) > allowed:
                raise _bomb(file, kind)
            for info in infos:
                with archive.open(info) as stream:
                    found[info.filename] = stream.read(allowed + 1)
                allowed -= len(found[info.filename])
                if allowed < 0:
                    raise _bomb(file, kind)
    except InputError:
        raise
    except (
        zipfile.BadZipFile,
        zlib.error,
        OSError,
        EOFError,
        ValueError,
        NotImplementedError,
        RuntimeError,
    ) as error:
        raise InputError(
            f"the file is not {kind}, or it is damaged",
            file=file,
            hint="Save it again from the program that made it, without a password",
        ) from error
    except (MemoryError, OverflowError, LookupError, UnicodeError) as error:
        raise _bomb(file, kind) from error
    for name, content in found.items():
        if any(word in content for word in DECLARED):
            raise InputError(
                f"its part {name} declares entities, which {kind} never does",
                file=file,
                hint="Save it again from the program that made it",
            )
    return found


def _bomb(file: str, kind: str) -> InputError:
    return InputError(
        f"the file expands to far more than {kind} of its size would",
        file=file,
        hint="Do not trust it; save it again from the program that made it",
    )

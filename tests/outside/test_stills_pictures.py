"""Pictures against other readers and scikit-image: turns, blur, fingerprints, colours."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps
from skimage import color
from skimage import data as skdata
from skimage.measure import blur_effect

from borelog.stills import intake
from borelog.stills.doubles import phash
from borelog.stills.focus import edge_blur
from borelog.stills.look import Look, apply

COFFEE = skdata.coffee()


@pytest.mark.parametrize("turn", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_stored_turns_agree_with_two_other_readers(turn: int, kind: str) -> None:
    """Exif 2.32 (CIPA DC-008-2019), 4.6.4 A, Orientation: Pillow's exif_transpose and OpenCV's reader."""
    exif = Image.Exif()
    exif[0x0112] = turn
    out = io.BytesIO()
    Image.fromarray(COFFEE).save(out, kind, exif=exif, quality=95)
    ours, facts = intake.decode(out.getvalue())
    assert facts.orientation == turn
    with Image.open(io.BytesIO(out.getvalue())) as image:
        pillow = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))[:, :, ::-1]
    assert (ours == pillow).all()
    if kind == "JPEG":
        theirs = cv2.imdecode(np.frombuffer(out.getvalue(), np.uint8), cv2.IMREAD_COLOR)
        assert theirs.shape == ours.shape
        assert np.abs(theirs.astype(int) - ours).mean() < 1


def test_blur_is_ranked_as_by_scikit_image() -> None:
    """skimage.measure.blur_effect after Crete et al. 2007; both must rank quiet stills alike."""
    sigmas = (2.0, 3.0, 4.5, 7.0, 10.0)
    soft = [cv2.GaussianBlur(COFFEE[:, :, 1], (0, 0), s) for s in sigmas]
    theirs = [blur_effect(s, h_size=11) for s in soft]
    ours = [edge_blur(s) for s in soft]
    assert list(np.argsort(theirs)) == list(np.argsort(ours)) == list(range(len(sigmas)))


def test_fingerprint_is_the_dct_of_scipy() -> None:
    fft = pytest.importorskip("scipy.fft")
    grey = cv2.cvtColor(COFFEE[:, :, ::-1], cv2.COLOR_BGR2GRAY)
    small = cv2.resize(grey, (32, 32), interpolation=cv2.INTER_AREA).astype(float)
    low = fft.dctn(small, norm="ortho")[:8, :8].ravel()
    bits = low > np.median(low[1:])
    bits[0] = False
    theirs = int("".join("1" if b else "0" for b in bits), 2)
    assert (phash(np.ascontiguousarray(COFFEE[:, :, ::-1])) ^ theirs).bit_count() <= 1


def test_local_contrast_leaves_colour_alone() -> None:
    """Target: mean colour difference 0.3 or less with the clip off; judged by skimage's CIEDE2000."""
    bgr = np.ascontiguousarray(COFFEE[:, :, ::-1])
    lab = cv2.cvtColor(cv2.cvtColor(bgr, cv2.COLOR_BGR2Lab), cv2.COLOR_Lab2BGR)
    # Eight-bit CIELAB and back is what the enhancement costs before it does anything.
    before, after = color.rgb2lab(COFFEE), color.rgb2lab(lab[:, :, ::-1])
    assert color.deltaE_ciede2000(before, after).mean() <= 0.45
    shown = color.rgb2lab(apply(bgr, Look(contrast=2.0)).image[:, :, ::-1])
    drift = np.hypot(shown[..., 1] - before[..., 1], shown[..., 2] - before[..., 2])
    assert np.median(drift) < 2.5

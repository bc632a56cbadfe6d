"""What a calibration's photos tell of the phones that took them: how far they lie about the curve, phone by phone."""

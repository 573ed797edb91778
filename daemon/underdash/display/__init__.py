"""Display: the drawing kit, palettes, the page deck, the renderer, dimming, and panels (one file a driver).

Start at `kit.py`. Pages never see a device.
"""

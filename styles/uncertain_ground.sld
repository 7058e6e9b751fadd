<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>uncertain_ground</Name>
    <UserStyle>
      <Name>uncertain_ground</Name>
      <Title>Ground that cover may or may not hide</Title>
      <Abstract>Seen through leafy woods alone, or inside cover: dotted, so that it is told apart without colour.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>uncertain</Name>
          <Title>Uncertain</Title>
          <PolygonSymbolizer>
            <Fill>
              <CssParameter name="fill">#C2703D</CssParameter>
              <CssParameter name="fill-opacity">0.45</CssParameter>
            </Fill>
          </PolygonSymbolizer>
          <PolygonSymbolizer>
            <Fill>
              <GraphicFill>
                <Graphic>
                  <Mark>
                    <WellKnownName>circle</WellKnownName>
                    <Fill>
                      <CssParameter name="fill">#C2703D</CssParameter>
                    </Fill>
                  </Mark>
                  <Opacity>0.8</Opacity>
                  <Size>4.8</Size>
                </Graphic>
              </GraphicFill>
            </Fill>
          </PolygonSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
